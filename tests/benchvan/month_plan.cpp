#include "benchvan/month_plan.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "benchvan/prices.hpp"
#include "benchvan/round.hpp"
#include "benchvan/truth.hpp"

namespace packmile::benchvan {
namespace {

constexpr double kDayS = 86400;
constexpr double kAcKw = 6.6;  // into the pack, from a supply of kOnboardChargerKw
constexpr double kFullPct = 99.0;
constexpr double kFastFullPct = 90.0;  // nobody waits at a DC post for the rest

// Drawn also where it is given, so that the days are the same.
double drawn_soc(const MonthVan& van, Generator& generator) {
  const double drawn_pct = generator.between(82, 95);
  return van.soc_pct.value_or(drawn_pct);
}

double soc_at_start(const Track& track) { return track.column(Quantity::soc_pct).front(); }
double soc_at_end(const Track& track) { return track.column(Quantity::soc_pct).back(); }

}  // namespace

MonthPlan::MonthPlan(const MonthVan& van, unsigned days, std::int64_t origin_unix_ms)
    : van_(van),
      days_(days),
      origin_unix_ms_(origin_unix_ms),
      generator_(van.seed),
      chance_(van.seed ^ 0x6368616E6365u),
      body_(body_of(van.traits)),
      pack_(van.traits.pack, drawn_soc(van, generator_)),
      sensors_(van.traits, van.seed, pack_.soc_pct(), van.odometer_km),
      odometer_km_(van.odometer_km),
      shown_odometer_km_(van.odometer_km) {}

bool MonthPlan::works() const {
  const auto days_since_1970 = origin_unix_ms_ / 86400000 + static_cast<std::int64_t>(day_);
  return (days_since_1970 + 4) % 7 != 0;  // 1970-01-01 was a Thursday; 0 is Sunday
}

double MonthPlan::ambient_c(double shift_c) const {
  // A temperate year: 4 C in January, 18 C in July.
  const double day_of_year = static_cast<double>((origin_unix_ms_ / 86400000 + day_) % 365);
  const double season = -std::cos(2 * std::numbers::pi * (day_of_year - 15) / 365.0);
  return std::round((11.0 + 7.0 * season + shift_c) * 2.0) / 2.0;
}

std::optional<Act> MonthPlan::next() {
  while (day_ < days_) {
    switch (part_) {
      case Part::morning:
        day_shift_c_ = generator_.between(-5, 5);
        begin_day();
        part_ = Part::midday;
        if (std::optional<Act> act = drive(true)) return act;
        break;
      case Part::midday:
        part_ = Part::afternoon;
        if (std::optional<Act> act = charge_at_midday()) return act;
        break;
      case Part::afternoon:
        part_ = Part::night;
        if (std::optional<Act> act = drive(false)) return act;
        break;
      case Part::night: {
        std::optional<Act> act = charge();
        part_ = Part::morning;
        ++day_;
        if (act) return act;
        break;
      }
    }
  }
  return std::nullopt;
}

void MonthPlan::begin_day() {
  const VanTraits& traits = van_.traits;
  constexpr double kCorrelation = 0.7;  // of one day's weather with the next
  constexpr double kSpellC = 3;
  const double shock = kSpellC * std::sqrt(1 - kCorrelation * kCorrelation) * chance_.normal();
  spell_c_ = kCorrelation * spell_c_ + shock;
  if (traits.mechanisms.weather) day_shift_c_ += spell_c_;
  const double lost_pct = traits.fade_pct_per_year * day_ / 365.0 +
                          traits.fade_pct_per_cycle * discharge_ah_ / traits.pack.capacity_ah;
  pack_.fade_to(traits.pack.capacity_ah * (1 - lost_pct / 100));
  if (day_ == days_ / 2 && day_ > 0) sensors_.mid_month(pack_.soc_pct());
  if (day_ % 30 != 0) return;
  capacity_.push_back({{"van", van_.name},
                       {"vin", van_.vin},
                       {"date", iso_time(origin_unix_ms_ + std::int64_t{day_} * 86400000)},
                       {"ah", pack_.capacity_ah()},
                       {"kwh", pack_.capacity_ah() * PackModel::mean_open_v() / 1000}});
}

void MonthPlan::sleep_until(double wake_s, double ambient_c) {
  const double for_s = wake_s - free_from_s_;
  if (for_s <= 0) return;
  pack_.rest(for_s, ambient_c);
  sensors_.rest(for_s, pack_.soc_pct());
}

Act MonthPlan::hand_out(double wake_s, Track track, double pack_temp_c) {
  sensors_.show(track, wake_s / kDayS, pack_temp_c);
  shown_odometer_km_ = track.column(Quantity::odometer_km).back();
  free_from_s_ = wake_s + track.duration_s();
  if (!first_s_) first_s_ = wake_s;
  return {.wake_ns = nanos_of_seconds(wake_s), .track = std::move(track)};
}

std::optional<Act> MonthPlan::drive(bool morning) {
  // Drawn also on days without work, so that a day does not depend on the rest.
  const double leave_s =
      morning ? generator_.between(6.75, 7.75) * 3600 : generator_.between(1800, 3000);
  const auto drops = static_cast<int>(22 + generator_.below(14));
  const double load_kg = generator_.between(2250, 2850);
  if (!works()) return std::nullopt;
  RoundShape shape;
  // Below a fifth of the pack nobody sets out for more.
  const double wanted = van_.traits.customers * drops;
  shape.briskness = van_.traits.briskness;
  shape.haste = van_.traits.haste;
  shape.drops =
      std::clamp(static_cast<int>((pack_.soc_pct() - 25.0) / 0.9), 0, static_cast<int>(wanted));
  if (shape.drops < 4) return std::nullopt;
  const double wake_s =
      std::max(morning ? static_cast<double>(day_) * kDayS + leave_s : free_from_s_ + leave_s,
               free_from_s_ + 60);
  if (morning && (day_ == 0 || day_ % 30 == 0)) {
    notes_.push_back(
        {origin_unix_ms_ + static_cast<std::int64_t>(wake_s * 1000), shown_odometer_km_});
  }
  body_.mass_kg = load_kg;
  const double ambient = ambient_c(day_shift_c_ + (morning ? -1.5 : 2.0));
  sleep_until(wake_s, ambient);
  const double pack_temp_c = pack_.temp_c(ambient);
  const std::vector<double> speed_kmh = make_round(generator_, shape);
  Track track = drive_round(speed_kmh, body_, pack_, ambient, odometer_km_,
                            generator_.between(30, 90), generator_.between(45, 150));
  const TrackTruth truth = measure(track);
  odometer_km_ = track.column(Quantity::odometer_km).back();

  const std::int64_t start_ms = origin_unix_ms_ + static_cast<std::int64_t>(wake_s * 1000);
  const auto length_ms = static_cast<std::int64_t>(std::llround(track.duration_s() * 1000));
  const double miles = truth.distance_km / kKmPerMile;
  trips_.push_back({{"van", van_.name},
                    {"vin", van_.vin},
                    {"start", iso_time(start_ms)},
                    {"end", iso_time(start_ms + length_ms)},
                    {"distance_km", truth.distance_km},
                    {"discharge_kwh", truth.discharge_kwh},
                    {"regen_kwh", truth.charge_kwh},
                    {"net_kwh", truth.net_kwh()},
                    {"kwh_per_mile", truth.net_kwh() / miles},
                    {"wh_per_km", truth.net_kwh() * 1000.0 / truth.distance_km},
                    {"soc_start_pct", soc_at_start(track)},
                    {"soc_end_pct", soc_at_end(track)},
                    {"ambient_mean_c", ambient}});
  discharge_kwh_ += truth.discharge_kwh;
  charge_kwh_ += truth.charge_kwh;
  discharge_ah_ += truth.discharge_ah;
  charge_ah_ += truth.charge_ah;
  trip_net_kwh_ += truth.net_kwh();
  trip_km_ += truth.distance_km;
  return hand_out(wake_s, std::move(track), pack_temp_c);
}

std::optional<Act> MonthPlan::charge() {
  const double plug_s = generator_.between(20.5, 22.5) * 3600;
  double until_pct = generator_.share() < 0.7 ? kFullPct : generator_.between(85, 95);
  const bool dc = chance_.share() < van_.traits.dc_night_share;
  if (dc) until_pct = std::min(until_pct, kFastFullPct);
  if (pack_.soc_pct() > until_pct - 8) return std::nullopt;
  const VanTraits& traits = van_.traits;
  const double wake_s =
      std::max(static_cast<double>(day_) * kDayS + plug_s, free_from_s_ + 20 * 60);
  if (dc) {
    return charge_from(wake_s, dc_shape(until_pct), ambient_c(day_shift_c_ - 2.5),
                       generator_.between(200, 500), true, traits.dc_night_at_post);
  }
  ChargeShape shape{.power_kw = kAcKw, .until_pct = until_pct};
  if (traits.mechanisms.charger)
    shape.power_kw = traits.ac_supply_kw * traits.ac_efficiency - traits.ac_own_kw;
  if (traits.mechanisms.balance && until_pct == kFullPct) shape.balance_s = 1800;
  return charge_from(wake_s, shape, ambient_c(day_shift_c_ - 2.5), generator_.between(200, 500),
                     false, false);
}

ChargeShape MonthPlan::dc_shape(double until_pct) const {
  const VanTraits& traits = van_.traits;
  return {.power_kw = traits.dc_supply_kw * traits.dc_efficiency - traits.dc_own_kw,
          .until_pct = until_pct,
          .taper_from_pct = 70};
}

std::optional<Act> MonthPlan::charge_at_midday() {
  const VanTraits& traits = van_.traits;
  const bool wanted = chance_.share() < traits.dc_share;
  const double after_s = chance_.between(900, 1800);
  const double until_pct = chance_.between(78, 88);
  if (!wanted || !works() || pack_.soc_pct() > until_pct - 12) return std::nullopt;
  return charge_from(free_from_s_ + after_s, dc_shape(until_pct), ambient_c(day_shift_c_ + 1), 120,
                     true, true);
}

Act MonthPlan::charge_from(double wake_s, const ChargeShape& shape, double ambient,
                           double stand_after_s, bool dc, bool at_post) {
  const VanTraits& traits = van_.traits;
  sleep_until(wake_s, ambient);
  const double pack_temp_c = pack_.temp_c(ambient);
  Track track = charge_at_power(pack_, shape, ambient, odometer_km_, 25, stand_after_s);
  const TrackTruth truth = measure(track);
  const auto at = [&](double after_s) {
    return iso_time(origin_unix_ms_ +
                    static_cast<std::int64_t>(std::llround((wake_s + after_s) * 1000)));
  };
  const double from_s = truth.charge_from_s.value_or(0), to_s = truth.charge_to_s.value_or(0);
  const double hours = (to_s - from_s) / 3600;
  const double grid_kwh = dc ? (truth.charge_kwh + traits.dc_own_kw * hours) / traits.dc_efficiency
                             : (truth.charge_kwh + traits.ac_own_kw * hours) / traits.ac_efficiency;
  const double cost =
      at_post ? receipt_of(grid_kwh).sum
              : grid_kwh * mean_yard_price(
                               track, origin_unix_ms_ + static_cast<std::int64_t>(wake_s * 1000));
  energy_cost_ += cost;
  sessions_.push_back({{"van", van_.name},
                       {"vin", van_.vin},
                       {"start", at(from_s)},
                       {"end", at(to_s)},
                       {"kind", dc ? "dc" : "ac"},
                       {"pack_kwh", truth.charge_kwh},
                       {"pack_ah", truth.charge_ah},
                       {"grid_kwh", grid_kwh},
                       {"peak_kw", truth.peak_charge_kw},
                       {"soc_start_pct", soc_at_start(track)},
                       {"soc_end_pct", soc_at_end(track)},
                       {"place", at_post ? kPost : kYard},
                       {"cost", cost}});
  discharge_kwh_ += truth.discharge_kwh;
  charge_kwh_ += truth.charge_kwh;
  discharge_ah_ += truth.discharge_ah;
  charge_ah_ += truth.charge_ah;
  standing_kwh_ += truth.discharge_kwh;
  charger_hours_ += truth.charger_hours;
  if (dc) dc_kwh_ += truth.charge_kwh;
  session_kwh_ += truth.charge_kwh;
  return hand_out(wake_s, std::move(track), pack_temp_c);
}

std::int64_t MonthPlan::end_unix_ms() const {
  return origin_unix_ms_ + static_cast<std::int64_t>(free_from_s_ * 1000);
}

nlohmann::ordered_json MonthPlan::truth() const {
  nlohmann::ordered_json throughput = {
      {"van", van_.name},
      {"vin", van_.vin},
      {"discharge_kwh", discharge_kwh_},
      {"charge_kwh", charge_kwh_},
      {"discharge_ah", discharge_ah_},
      {"charge_ah", charge_ah_},
      {"full_cycles", discharge_ah_ / kNominalAh},
      {"odometer_km", shown_odometer_km_},
      {"kwh_per_mile", nullptr},
      {"standing_kwh", standing_kwh_},
      {"measured_from",
       iso_time(origin_unix_ms_ + static_cast<std::int64_t>(first_s_.value_or(0) * 1000))},
      {"measured_to", iso_time(end_unix_ms())},
      {"dc_share", session_kwh_ > 0 ? dc_kwh_ / session_kwh_ : 0.0},
      {"charger_hours", charger_hours_}};
  if (trip_km_ > 0) throughput["kwh_per_mile"] = trip_net_kwh_ / (trip_km_ / kKmPerMile);
  const VanTraits& traits = van_.traits;
  nlohmann::ordered_json names = nlohmann::ordered_json::array();
  for (const MechanismName& one : mechanism_names())
    if (traits.mechanisms.*one.flag) names.push_back(one.name);
  const nlohmann::ordered_json pack = {{"capacity_ah_start", traits.pack.capacity_ah},
                                       {"capacity_ah_end", pack_.capacity_ah()},
                                       {"soc_pct_end", pack_.soc_pct()},
                                       {"offset_a", traits.offset_a},
                                       {"gain", traits.gain},
                                       {"voltage_gain", traits.voltage_gain},
                                       {"soc_step_pct", traits.soc_step_pct},
                                       {"believed_ah", traits.believed_ah},
                                       {"odometer_scale", traits.odometer_scale},
                                       {"ac_efficiency", traits.ac_efficiency},
                                       {"ac_own_kw", traits.ac_own_kw},
                                       {"mechanisms", names}};
  nlohmann::ordered_json cost = {{"van", van_.name},
                                 {"distance_km", trip_km_},
                                 {"energy_cost", energy_cost_},
                                 {"energy_cost_per_mile", nullptr},
                                 {"currency", "GBP"}};
  if (trip_km_ > 0) cost["energy_cost_per_mile"] = energy_cost_ / (trip_km_ / kKmPerMile);
  return {{"van", van_.name},
          {"vin", van_.vin},
          {"trips", trips_},
          {"sessions", sessions_},
          {"throughput", throughput},
          {"capacity", capacity_},
          {"cost", cost},
          {"pack", pack}};
}

}  // namespace packmile::benchvan
