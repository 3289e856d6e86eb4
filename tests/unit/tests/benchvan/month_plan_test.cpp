#include "benchvan/month_plan.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "benchvan/round.hpp"
#include "benchvan/truth.hpp"

using namespace packmile::benchvan;

namespace {

// 2026-01-05, a Monday.
constexpr std::int64_t kMonday = 1767571200000;

Track track_of(std::vector<double> time_s, std::vector<double> power_w) {
  Track track;
  track.time_s = std::move(time_s);
  for (const double watts : power_w) {
    track.column(Quantity::pack_v).push_back(100);
    track.column(Quantity::pack_a).push_back(watts / 100);
    track.column(Quantity::speed_kmh).push_back(0);
  }
  return track;
}

}  // namespace

// Source: by hand: a line from 8000 to -4000 W in 0.5 s.
TEST_CASE("truth: a straight line of power is split at its zero") {
  const TrackTruth truth = measure(track_of({0, 0.5}, {8000, -4000}));
  CHECK(truth.discharge_kwh * 1000 == doctest::Approx(0.370370).epsilon(1e-5));
  CHECK(truth.charge_kwh * 1000 == doctest::Approx(0.092593).epsilon(1e-5));
  CHECK(*truth.charge_from_s == doctest::Approx(1.0 / 3));
  CHECK(*truth.charge_to_s == doctest::Approx(0.5));
  CHECK(iso_time(kMonday + 1) == "2026-01-05T00:00:00.001+00:00");
}

TEST_CASE("pack model: voltage sags with current, and power is what was asked") {
  const PackModel pack(kNominalAh, 60);
  for (const double power_kw : {-40.0, -6.6, 0.0, 0.3, 30.0, 90.0}) {
    const PackModel::Terminals terminals = pack.at_power(power_kw, 10);
    CHECK(terminals.pack_v * terminals.pack_a / 1000 == doctest::Approx(power_kw));
    CHECK((terminals.pack_v < pack.open_circuit_v()) == (power_kw > 0));
  }
}

TEST_CASE("month plan: acts follow each other, stops stay short, energy and charge agree") {
  MonthPlan plan({.name = "alder", .vin = "0PMLVAN18T0000100", .odometer_km = 1000, .seed = 5}, 8,
                 kMonday);
  Nanos free_ns = 0;
  double charge_balance_ah = 0, soc_first = -1, soc_last = 0, odometer_km = 1000;
  while (const std::optional<Act> act = plan.next()) {
    REQUIRE(act->wake_ns > free_ns);
    free_ns = act->wake_ns + nanos_of_seconds(act->track.duration_s());
    const auto& speed_kmh = act->track.column(Quantity::speed_kmh);
    const auto& soc_pct = act->track.column(Quantity::soc_pct);
    double standing_s = 0, longest_s = 0, steepest_kmh = 0, lowest_pct = 100, highest_pct = 0;
    for (std::size_t i = 1; i < speed_kmh.size(); ++i) {
      standing_s =
          speed_kmh[i] > 0 ? 0 : standing_s + act->track.time_s[i] - act->track.time_s[i - 1];
      longest_s = std::max(longest_s, standing_s);
      steepest_kmh = std::max(steepest_kmh, std::fabs(speed_kmh[i] - speed_kmh[i - 1]));
      lowest_pct = std::min(lowest_pct, soc_pct[i]);
      highest_pct = std::max(highest_pct, soc_pct[i]);
    }
    // Longer would be the end of a trip: 5 min.
    if (act->track.distance_km() > 0) CHECK(longest_s < 290);
    CHECK(steepest_kmh < 1.0);
    CHECK(lowest_pct > 5);
    CHECK(highest_pct <= 100);
    const TrackTruth truth = measure(act->track);
    charge_balance_ah += truth.charge_ah - truth.discharge_ah;
    if (soc_first < 0) soc_first = soc_pct.front();
    soc_last = soc_pct.back();
    CHECK(act->track.column(Quantity::odometer_km).front() == doctest::Approx(odometer_km));
    odometer_km = act->track.column(Quantity::odometer_km).back();
  }
  CHECK(charge_balance_ah == doctest::Approx((soc_last - soc_first) / 100 * kNominalAh));
  const nlohmann::ordered_json truth = plan.truth();
  CHECK(truth["trips"].size() == 14);  // seven working days
  CHECK(truth["sessions"].size() >= 5);
  double trip_km = 0;
  for (const auto& trip : truth["trips"]) trip_km += trip["distance_km"].get<double>();
  CHECK(trip_km == doctest::Approx(odometer_km - 1000));
}
