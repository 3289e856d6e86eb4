// The fields of trip, session, stand and capacity, listed once: a visitor makes of the
// list the columns of a row, its cells, the SQL columns, and the values that go
// into and come out of the ledger.
//
// A visitor has: moment (a time, which rows do not show where nothing bounds it),
// interval (between what a moment lies), figure, reading, soc (a reading with a
// step of its own), word, real, whole, findings; for capacity also when, window,
// number, text, yes_no and rejected; kept_figure and kept_number for
// what the ledger keeps and rows do not show, curve likewise; and shown_text,
// shown_figure, fixed for what rows show and the ledger does not keep: prices and
// places may change without a card being read again.
#pragma once
#include <array>
#include <string>

#include "energy/van_account.hpp"
#include "money/session_cost.hpp"
#include "pack/capacity.hpp"
#include "pack/witness.hpp"

namespace packmile::fields {

// What one step of a reading hides: the word stands for anything between
// `below` under it and `above` over it, because nobody says whether a van cuts
// or rounds.
struct Step {
  double below;
  double above;
  const char* why;  // why there is none
};
[[nodiscard]] constexpr Step soc_step(double step_pct) {
  return {step_pct / 2, step_pct, "the van did not answer its state of charge here"};
}
inline constexpr Step kAmbientStep{0.5, 1.0, "the van did not answer its ambient temperature here"};

// Hours with power from here to the next, kW into the pack.
inline constexpr std::array kChargeBandColumns{
    "hours_from_0_6_kw", "hours_from_2_kw",  "hours_from_5_kw",  "hours_from_8_5_kw",
    "hours_from_15_kw",  "hours_from_25_kw", "hours_from_50_kw", "hours_from_100_kw"};
static_assert(kChargeBandColumns.size() == kChargeBandFromKw.size());
inline constexpr const char* kNoWindow = "this row rests on no window of the state of charge";
inline constexpr const char* kNoVoltageWindow = "only voltage_window lies between two voltages";

// Values of each enum, for reading words back.
template <typename E>
inline constexpr int kValuesOf = 0;
template <>
inline constexpr int kValuesOf<EnergyMethod> = 3;
template <>
inline constexpr int kValuesOf<DistanceSource> = 3;
template <>
inline constexpr int kValuesOf<ChargeKind> = 3;
template <>
inline constexpr int kValuesOf<SessionSource> = 3;
template <>
inline constexpr int kValuesOf<CurrentVerdict> = 4;
template <>
inline constexpr int kValuesOf<CapacityMethod> = 5;
template <>
inline constexpr int kValuesOf<CapacityScope> = 4;
template <>
inline constexpr int kValuesOf<TemperatureStratum> = 5;
template <>
inline constexpr int kValuesOf<LineVerdict> = 4;
template <>
inline constexpr int kValuesOf<WitnessVerdict> = 4;

template <typename V, typename T>
void of_trip(V& v, T& trip) {
  v.moment("start", trip.start, trip.start_doubt);
  v.moment("end", trip.end, trip.end_doubt);
  v.figure("distance_km", trip.distance_km);
  v.word("distance_source", trip.distance_source);
  v.figure("discharge_kwh", trip.discharge_kwh);
  v.figure("regen_kwh", trip.regen_kwh);
  v.figure("net_kwh", trip.net_kwh);
  v.figure("kwh_per_mile", trip.kwh_per_mile);
  v.figure("wh_per_km", trip.wh_per_km);
  v.soc("soc_start_pct", trip.soc_start_pct, trip.soc_step_pct);
  v.soc("soc_end_pct", trip.soc_end_pct, trip.soc_step_pct);
  v.reading("ambient_mean_c", trip.ambient_mean_c, kAmbientStep);
  v.word("energy_method", trip.energy_method);
  v.real("coverage", trip.coverage);
  v.figure("filled_kwh", trip.filled_kwh);
  v.word("current_verdict", trip.current_verdict);
  v.findings("findings", trip.findings);
  v.kept_figure("discharge_ah", trip.discharge_ah);
  v.kept_figure("regen_ah", trip.regen_ah);
  v.interval("start_low", "start_high", trip.start, trip.start_doubt);
  v.interval("end_low", "end_high", trip.end, trip.end_doubt);
  v.kept_number("moving_kmh", trip.moving_kmh);
  v.kept_number("stops", trip.stops);
}

template <typename V, typename T>
void of_session(V& v, T& session, const SessionCost& money, const std::string& currency) {
  v.moment("start", session.start, session.start_doubt);
  v.moment("end", session.end, session.end_doubt);
  v.word("kind", session.kind);
  v.word("source", session.source);
  v.figure("pack_kwh", session.pack_kwh);
  v.figure("pack_ah", session.pack_ah);
  v.figure("grid_kwh", session.grid_kwh);
  v.figure("peak_kw", session.peak_kw);
  v.soc("soc_start_pct", session.soc_start_pct, session.soc_step_pct);
  v.soc("soc_end_pct", session.soc_end_pct, session.soc_step_pct);
  v.shown_text("place", money.place, money.place_why);
  v.fixed("place_source", std::string{word_of(money.source)});
  v.shown_figure("cost", money.cost);
  v.fixed("currency", currency);
  v.real("coverage", session.coverage);
  v.figure("filled_kwh", session.filled_kwh);
  v.word("current_verdict", session.current_verdict);
  v.findings("findings", session.findings);
  v.interval("start_low", "start_high", session.start, session.start_doubt);
  v.interval("end_low", "end_high", session.end, session.end_doubt);
  for (std::size_t k = 0; k < session.band_hours.size(); ++k)
    v.kept_number(kChargeBandColumns[k], session.band_hours[k]);
  v.curve("curve", session.curve);
}

template <typename V, typename T>
void of_stand(V& v, T& stand) {
  v.moment("start", stand.start, stand.start_doubt);
  v.moment("end", stand.end, stand.end_doubt);
  v.figure("net_kwh", stand.net_kwh);
  v.figure("discharge_kwh", stand.discharge_kwh);
  v.figure("charge_kwh", stand.charge_kwh);
  v.figure("discharge_ah", stand.discharge_ah);
  v.figure("charge_ah", stand.charge_ah);
  v.real("coverage", stand.coverage);
  v.figure("filled_kwh", stand.filled_kwh);
  v.interval("start_low", "start_high", stand.start, stand.start_doubt);
  v.interval("end_low", "end_high", stand.end, stand.end_doubt);
}

template <typename V, typename T>
void of_capacity(V& v, T& row) {
  v.when("date", row.date, "nothing was measured");
  v.word("method", row.method);
  v.word("scope", row.scope);
  v.figure("ah", row.ah);
  v.figure("kwh", row.kwh);
  v.window("window_low_pct", row.window_low_pct, row.soc_step_pct);
  v.window("window_high_pct", row.window_high_pct, row.soc_step_pct);
  v.number("window_low_v", row.window_low_v, kNoVoltageWindow);
  v.number("window_high_v", row.window_high_v, kNoVoltageWindow);
  v.reading("temp_c", row.temp_c, kAmbientStep);
  v.word("temp_stratum", row.stratum);
  v.word("charge_kind", row.charge_kind);
  v.whole("n_used", row.n_used);
  v.whole("n_rejected", row.n_rejected);
  v.rejected("rejected", row.rejected);
  v.whole("segment", row.segment);
  v.figure("offset_a", row.offset_a);
  v.figure("resistance_mohm", row.resistance_mohm);
  v.figure("change_pct", row.change_pct);
  v.yes_no("relative_only", row.relative_only);
  v.word("against_expectation", row.against_expectation);
  v.text("reason", row.reason);
  v.findings("findings", row.findings);
}

}  // namespace packmile::fields
