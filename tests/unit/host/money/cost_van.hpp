// A van whose costs are told, and what one charge of it is.
#pragma once
#include <string>
#include <vector>

#include "energy/session.hpp"
#include "money/cost.hpp"
#include "unit/host/money/night_tariff.hpp"

namespace packmile {

inline UtcTime at(const char* text) { return london().read(text).value(); }
inline NoteTime instant(const char* text) { return {at(text), at(text)}; }
inline NoteTime on_day(const char* text) {
  const Zone::Day d = london().day_of(at(text));
  return {d.from, d.to};
}
inline std::string text(UtcTime t) { return london().minute(t); }

struct CostVan {
  MoneyFacts money;
  VanNotes notes;
  std::vector<ChargeSession> sessions;
  std::vector<Trip> trips;
  std::vector<Stand> stands;
  std::vector<FixedCost> fixed;
  std::vector<ValuePoint> values;
  std::optional<double> labour_rate;
  std::optional<double> nominal_kwh = 60;
  std::vector<OwnedSpan> sharing{OwnedSpan{}};
  OwnedSpan owned;

  CostVan() { money.zone = london(); }
  VanCost cost(const char* from, const char* to) const { return cost(at(from), at(to)); }
  VanCost cost(UtcTime from, UtcTime to) const {
    PricedCharges priced;
    return cost_of(input(priced), from, to);
  }
  CostInput input(PricedCharges& priced) const {
    priced = price_charges(sessions, trips, notes, money, text);
    CostInput input;
    input.van = "rowan";
    input.nominal_kwh = nominal_kwh;
    input.sessions = sessions;
    input.trips = trips;
    input.stands = stands;
    input.priced = &priced;
    input.notes = &notes;
    for (const OdometerNote& note : notes.odometer)
      input.odometer.push_back({note.when, note.km, note.step_km});
    input.values = values;
    input.money = &money;
    input.fixed = fixed;
    input.labour_rate = labour_rate;
    input.sharing = sharing;
    input.owned_from = owned.from;
    input.owned_to = owned.to;
    return input;
  }
};

inline std::vector<std::string> left_out(const VanCost& cost) {
  std::vector<std::string> out;
  for (const LeftOut& one : cost.not_included) out.push_back(one.word);
  return out;
}

inline ChargeSession session(UtcTime start, double kw, double hours) {
  ChargeSession s;
  s.start = start;
  s.end = start + std::chrono::milliseconds{static_cast<std::int64_t>(hours * 3.6e6)};
  s.kind = ChargeKind::ac;
  s.curve = steady(kw, s.start, s.end);
  s.pack_kwh = MaybeFigure::known(figure_of(kw * hours, 0.01, 0.1));
  s.grid_kwh = grid_energy_kwh(s.kind, *s.pack_kwh.figure, hours);
  s.filled_kwh = MaybeFigure::known({});
  s.coverage = 1;
  return s;
}

// A silent van of one month, all of it from paper:
//   meter     18240.5 -> 19105.0 kWh                        = 864.5 kWh
//   odometer  61200 -> 65040 km: 3840 km                    = 2386.064 miles
//   depot     8.4 p flat                    864.5 * 0.084   =  72.618
//   receipt   21.3 kWh                                      =  14.70
//   energy                                                  =  87.318
//   tyres     two for 236.00                                = 236.00
//   insurance 1095.75 a year / 365.25 * 31 days             =  93.00
//   total                                                   = 416.318
//   by the mile  416.318 / 2386.064                         = 0.174479
//   energy       87.318 / 2386.064                          = 0.036595
//   at the meter (864.5 + 21.3) / 2386.064                  = 0.371239
inline CostVan silent() {
  CostVan van;
  van.money.tariffs = {flat_tariff("yard", 0.084)};
  van.money.places = {{"yard", PlaceKind::depot, "yard", {}, {}, {}}};
  van.money.meter = DepotMeter{"yard", {"rowan"}, 1};
  van.notes.odometer = {{1, instant("2026-03-01T07:00:00Z"), 61200, 1},
                        {2, instant("2026-03-31T18:00:00Z"), 65040, 1}};
  van.notes.meter = {{3, instant("2026-03-31T18:00:00Z"), 18240.5, 19105.0, 0.1}};
  van.notes.receipts = {{4, on_day("2026-03-12"), 21.3, 0.1, 14.70, "Corn Exchange"}};
  van.notes.jobs = {{5, on_day("2026-03-20"), "tyre front", 236, std::nullopt}};
  van.fixed = {{"insurance", 1095.75, {}, {}, {}}};
  return van;
}

}  // namespace packmile
