// The measured drives, resampled as a logger polls them, against an independent
// integration of the source rows (truth.csv, its method in the data's README).
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <set>
#include <vector>

#include "energy/van_account.hpp"
#include "host/reading/measured_data.hpp"
#include "host/reading/replay.hpp"

namespace packmile::testing {
namespace {

constexpr double kTenMinutesS = 600;

struct DriveSum {
  double net = 0, discharge = 0, regen = 0, scatter = 0, km = 0, km_low = 0, km_high = 0;
  std::set<std::string> findings;
  std::size_t trips = 0;
  bool agreed = false;
};

// A drive as the account sees it: its trips and what it stood beyond them.
DriveSum sum_of(const Episode& episode, const VanFacts& facts = {}) {
  PackEvidence evidence;
  evidence.observe(episode);
  const auto readings = evidence.decide();
  DriveSum whole;
  whole.agreed = !readings.empty() && readings[0].verdict == CurrentVerdict::agreed;
  VanAccount account{facts, readings};
  account.add(episode);
  const VanFigures figures = account.finish();
  whole.trips = figures.trips.size();
  double scatter2 = 0;
  for (const Trip& trip : figures.trips) {
    for (const Finding finding : trip.findings) {
      whole.findings.insert(std::string(entry_of(finding).word));
    }
    if (trip.distance_km.figure) {
      whole.km += trip.distance_km.figure->value;
      whole.km_low += trip.distance_km.figure->low;
      whole.km_high += trip.distance_km.figure->high;
    }
    if (!trip.net_kwh.figure) continue;
    whole.net += trip.net_kwh.figure->value;
    whole.discharge += trip.discharge_kwh.figure->value;
    whole.regen += trip.regen_kwh.figure->value;
    scatter2 += trip.net_kwh.figure->scatter * trip.net_kwh.figure->scatter;
  }
  for (const Stand& stand : figures.stands) {
    if (!stand.net_kwh.figure) continue;
    whole.net += stand.net_kwh.figure->value;
    whole.discharge += stand.discharge_kwh.figure->value;
    whole.regen += stand.charge_kwh.figure->value;
    scatter2 += stand.net_kwh.figure->scatter * stand.net_kwh.figure->scatter;
  }
  whole.scatter = std::sqrt(scatter2);
  return whole;
}

double quantile(std::vector<double> values, double q) {
  std::sort(values.begin(), values.end());
  const auto at = static_cast<std::size_t>(q * static_cast<double>(values.size() - 1) + 0.5);
  return values[at];
}

void check_rate(double hz, double p95_pct, double set_pct, double half_width_pct) {
  const auto truth = read_truth();
  std::printf("%s Hz: error of net, discharge, regen in %% of truth; half-width of net in %%\n",
              hz == 5 ? "5" : "2");
  std::vector<double> net_errors, widths;
  double net_sum = 0, truth_sum = 0;
  double discharge_sum = 0, discharge_truth = 0, regen_sum = 0, regen_truth = 0;
  int inside = 0, drives = 0, long_drives = 0;
  for (const std::string& file : files_named("drive-i3-")) {
    const TruthRow& row = truth.at(file);
    for (const double phase_s : {0.0, 0.05}) {
      ReplayOptions options;
      options.hz = hz;
      options.phase_s = phase_s;
      const DriveSum whole = sum_of(replay(file, options));
      CAPTURE(file);
      CHECK(whole.agreed);
      const double truth_net = row.at("net_kwh");
      const double net = 100 * (whole.net / truth_net - 1);
      const double discharge = 100 * (whole.discharge / row.at("discharge_kwh") - 1);
      const double regen = 100 * (whole.regen / row.at("regen_kwh") - 1);
      const double width = 100 * whole.scatter / truth_net;
      ++drives;
      const bool covered = std::abs(whole.net - truth_net) <= whole.scatter;
      inside += covered;
      widths.push_back(width);
      if (phase_s == 0) {
        std::printf("  %-18s %+8.4f %+8.4f %+8.4f  +-%.4f%s\n", file.c_str(), net, discharge, regen,
                    width, covered ? "" : "  outside");
      }
      if (row.at("duration_s") < kTenMinutesS) continue;
      ++long_drives;
      net_errors.push_back(std::abs(net));
      net_sum += whole.net;
      truth_sum += truth_net;
      discharge_sum += whole.discharge;
      discharge_truth += row.at("discharge_kwh");
      regen_sum += whole.regen;
      regen_truth += row.at("regen_kwh");
      if (hz == 5) {
        CHECK(std::abs(discharge) < 0.3);
        // B34 is frozen after 293 s and regenerates 0.03 kWh in all: one
        // braking that falls between two polls is a hundredth of it.
        CHECK(std::abs(regen) < (file == "drive-i3-B34.csv" ? 1.5 : 1));
      }
    }
  }
  const double p95 = quantile(net_errors, 0.95);
  const double set = 100 * std::abs(net_sum / truth_sum - 1);
  const double half = quantile(widths, 0.5);
  const double of_discharge = 100 * (discharge_sum / discharge_truth - 1);
  const double of_regen = 100 * (regen_sum / regen_truth - 1);
  std::printf(
      "  %d runs, %d of 10 min or more: p95 %.4f %%, set %.4f %%, inside %d of %d, "
      "median half-width %.4f %%; discharge of the set %+.4f %%, regen %+.4f %%\n",
      drives, long_drives, p95, set, inside, drives, half, of_discharge, of_regen);
  // Neither way loses by being asked less often.
  CHECK(std::abs(of_discharge) < 0.05);
  CHECK(std::abs(of_regen) < 0.2);
  CHECK(p95 < p95_pct);
  CHECK(set < set_pct);
  CHECK(inside >= 0.93 * drives);
  CHECK(half < half_width_pct);
}

}  // namespace

TEST_CASE("measured drives: polled at 5 Hz") {
  if (skip_without_data()) return;
  check_rate(5, 0.1, 0.03, 0.1);
}

TEST_CASE("measured drives: polled at 2 Hz") {
  if (skip_without_data()) return;
  check_rate(2, 0.4, 0.05, 0.4);
}

// E7: at the source rate the net differs from truth by the codes of the words alone. What was
// given and came back is there split at the zero of the straight line between two rows, here by
// the rows themselves: 0.03 % of what was given.
TEST_CASE("measured drives: at 10 Hz the totals are those of the table") {
  if (skip_without_data()) return;
  double net = 0, discharge = 0, regen = 0;
  for (const std::string& file : files_named("drive-i3-")) {
    ReplayOptions options;
    options.hz = 10;
    const DriveSum whole = sum_of(replay(file, options));
    net += whole.net;
    discharge += whole.discharge;
    regen += whole.regen;
  }
  CHECK(net == doctest::Approx(113.674).scale(0).epsilon(2e-4));
  CHECK(discharge == doctest::Approx(139.53).scale(0).epsilon(4e-4));
  CHECK(regen == doctest::Approx(25.85).scale(0).epsilon(2e-3));
}

// The files' known defects (data README) and nothing else.
TEST_CASE("measured drives: findings fire on the known defects alone") {
  if (skip_without_data()) return;
  for (const double hz : {5.0, 2.0}) {
    for (const double nominal_ah : {0.0, 60.0}) {
      for (const std::string& file : files_named("drive-i3-")) {
        ReplayOptions options;
        options.hz = hz;
        VanFacts facts;
        if (nominal_ah > 0) facts.nominal_ah = nominal_ah;
        const DriveSum whole = sum_of(replay(file, options), facts);
        std::set<std::string> expected;
        if (file == "drive-i3-B34.csv") expected = {"frozen_signals"};
        if (file == "drive-i3-B02.csv") expected = {"soc_against_current"};
        CAPTURE(file);
        CAPTURE(hz);
        CAPTURE(nominal_ah);
        std::string words;
        for (const std::string& word : whole.findings) words += word + " ";
        CAPTURE(words);
        CHECK(whole.findings == expected);
      }
    }
  }
}

TEST_CASE("measured drives: the four variants of the word give the same bits") {
  if (skip_without_data()) return;
  for (const std::string& file : files_named("drive-i3-A0")) {
    std::vector<DriveSum> variants;
    for (const auto coding : {CurrentCoding::twos_complement, CurrentCoding::offset_binary}) {
      for (const auto sign : {CurrentSign::discharge_positive, CurrentSign::discharge_negative}) {
        ReplayOptions options;
        options.coding = coding;
        options.sign = sign;
        variants.push_back(sum_of(replay(file, options)));
      }
    }
    CAPTURE(file);
    for (const DriveSum& variant : variants) {
      CHECK(variant.agreed);
      CHECK(variant.net == variants[0].net);
      CHECK(variant.discharge == variants[0].discharge);
      CHECK(variant.regen == variants[0].regen);
      CHECK(variant.scatter == variants[0].scatter);
    }
  }
}

// Distance: whole km/h on the wire, rounded or cut, with the odometer and
// without. Truth: the trapezoid of the source's speed.
TEST_CASE("measured drives: distance lies in its interval") {
  if (skip_without_data()) return;
  const auto truth = read_truth();
  for (const bool cut : {false, true}) {
    for (const double odometer_period_s : {0.0, 1.0, 5.0}) {
      std::vector<double> errors;
      for (const std::string& file : files_named("drive-i3-")) {
        ReplayOptions options;
        options.speed_cut = cut;
        options.odometer_period_s = odometer_period_s;
        options.odometer_start_km = 40'000.037;
        const DriveSum whole = sum_of(replay(file, options));
        const double km = truth.at(file).at("distance_km");
        CAPTURE(file);
        CAPTURE(cut);
        CAPTURE(odometer_period_s);
        CAPTURE(whole.km);
        CHECK(whole.km_low <= km);
        CHECK(km <= whole.km_high);
        errors.push_back(std::abs(whole.km - km) * 1e3);
      }
      std::printf("distance, speed %s, odometer every %.0f s: median error %.0f m, worst %.0f m\n",
                  cut ? "cut" : "rounded", odometer_period_s, quantile(errors, 0.5),
                  quantile(errors, 1));
    }
  }
}

// A standstill of five minutes divides a drive by rule.
TEST_CASE("measured drives: each is one trip") {
  if (skip_without_data()) return;
  for (const std::string& file : files_named("drive-i3-")) {
    const DriveSum whole = sum_of(replay(file));
    CAPTURE(file);
    CHECK(whole.trips == 1);
  }
}

}  // namespace packmile::testing
