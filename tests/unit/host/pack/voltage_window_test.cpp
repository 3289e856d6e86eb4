// Ah between two voltages: made charges of a known pack, and measured cells.
#include "pack/voltage_window.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <random>
#include <sstream>

#include "energy/integrate.hpp"
#include "energy/segments.hpp"
#include "host/pack/charge_scene.hpp"
#include "host/reading/measured_data.hpp"
#include "host/reading/replay.hpp"
#include "pack/charge_capacity.hpp"

namespace packmile::testing {
namespace {

constexpr std::int64_t kWindowDayMs = 86'400'000;

// The file's own rows, nothing resampled.
ChargeTrace read_charge(const std::string& file) {
  std::ifstream in(data_folder() + "/" + file);
  ChargeTrace trace;
  trace.verdict = CurrentVerdict::agreed;
  trace.kind = ChargeKind::ac;
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    std::istringstream cells(line);
    std::array<std::string, 6> cell;
    for (std::string& c : cell) std::getline(cells, c, ',');
    if (cell[2].empty() || cell[3].empty()) continue;
    trace.push(kReplayStartMs + std::llround(1000 * std::stod(cell[0])), -std::stod(cell[3]),
               std::stod(cell[2]));
  }
  trace.close();
  return trace;
}

std::map<std::string, std::array<double, 2>> measured_ah() {  // before, after
  std::ifstream in(data_folder() + "/capacity-truth.csv");
  std::map<std::string, std::array<double, 2>> truth;
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    std::istringstream cells(line);
    std::array<std::string, 9> cell;
    for (std::string& c : cell) std::getline(cells, c, ',');
    truth[cell[0]] = {std::stod(cell[6]), std::stod(cell[7])};
  }
  return truth;
}

// One or two years of charges of one kind, seed as given.
std::vector<VoltageProfile> made_years(unsigned seed, int months, double fade_a_year,
                                       double believed_ah = 0) {
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> uniform;
  std::vector<VoltageProfile> profiles;
  for (int month = 0; month < months; ++month) {
    for (int k = 0; k < 3; ++k) {
      ChargeScene scene;
      scene.capacity_ah = 150 * (1 - fade_a_year * month / 12);
      scene.believed_ah = believed_ah;
      scene.soc_from = 0.25 + 0.15 * uniform(random);
      scene.soc_to = 0.85 + 0.1 * uniform(random);
      scene.row_s = 20;
      scene.start_ms += (month * 30 + k * 9) * kWindowDayMs;
      scene.charge_a = 19 * (1 + 0.02 * (uniform(random) - 0.5));
      const ProfileOrWhy made = profile_charge(make_charge(scene, random));
      CAPTURE(made.why);
      REQUIRE(made.profile);
      profiles.push_back(*made.profile);
    }
  }
  return profiles;
}

}  // namespace

TEST_CASE("voltage window: a straight open-circuit curve gives the share of the pack") {
  ChargeScene scene;
  scene.soc_from = 0.2;
  scene.soc_to = 0.9;
  scene.noise_a = 0;
  std::mt19937 random{1};
  const ProfileOrWhy made = profile_charge(make_charge(scene, random));
  REQUIRE(made.profile);
  // 60 V for 150 Ah, the same drop over the resistance at both ends.
  const auto ah = window_ah(*made.profile, 360, 390);
  REQUIRE(ah);
  CHECK(*ah == doctest::Approx(75).epsilon(0.002));
  CHECK(*window_ah(*made.profile, 365.1, 372.6) == doctest::Approx(18.75).epsilon(0.005));
  CHECK_FALSE(window_ah(*made.profile, 340, 390));
  CHECK_FALSE(window_ah(*made.profile, 360, 410));
  CHECK_FALSE(window_ah(*made.profile, 390, 360));
  CHECK(made.profile->plateau_kw == doctest::Approx(19 * 0.375).epsilon(0.03));
}

TEST_CASE("voltage window: refuses what is no like charge") {
  ChargeScene scene;
  std::mt19937 random{1};
  scene.pause_from_s = 3'000;
  scene.pause_s = 300;
  CHECK(profile_charge(make_charge(scene, random)).why == "there is a pause inside");
  scene.pause_s = 0;
  ChargeTrace trace = make_charge(scene, random);
  trace.verdict = CurrentVerdict::contradictory;
  CHECK_FALSE(profile_charge(trace).profile);
  trace.verdict = CurrentVerdict::agreed;
  trace.coverage = 0.9;
  CHECK_FALSE(profile_charge(trace).profile);
  CHECK_FALSE(profile_charge(ChargeTrace{}).profile);
  scene.soc_to = scene.soc_from + 0.01;
  CHECK_FALSE(profile_charge(make_charge(scene, random)).profile);
}

TEST_CASE("voltage window: groups keep unlike charges apart") {
  std::vector<VoltageProfile> profiles = made_years(5, 3, 0);
  const std::size_t n = profiles.size();
  for (std::size_t i = 0; i < n; ++i) {
    VoltageProfile cold = profiles[i];
    cold.stratum = TemperatureStratum::below_5;
    VoltageProfile fast = profiles[i];
    fast.plateau_kw *= 1.4;
    VoltageProfile other = profiles[i];
    other.segment = 1;
    profiles.push_back(cold);
    if (i < 5) profiles.push_back(fast);
    if (i < 2) profiles.push_back(other);  // too few to be a group
  }
  const auto series = build_window_series(profiles);
  REQUIRE(series.size() == 3);
  CHECK(series[0].points.size() + series[0].n_not_spanning == n);
  CHECK(series[1].points.size() + series[1].n_not_spanning == n);
  CHECK(series[2].points.size() + series[2].n_not_spanning == 5);
  for (const auto& s : series) CHECK(s.segment == 0);
  CHECK_FALSE(series[0].change);
  CHECK(series[0].why.find("half a year") != std::string::npos);
}

TEST_CASE("voltage window: a few wide charges do not choose for all") {
  std::vector<VoltageProfile> profiles;
  for (int i = 0; i < 10; ++i) {
    VoltageProfile p;
    p.start = UtcTime{std::chrono::milliseconds{kReplayStartMs + i * kWindowDayMs}};
    p.plateau_kw = 7;
    p.from_v = i < 3 ? 350 : 375;
    p.to_v = i < 3 ? 395 : 385;
    for (double v = p.from_v; v <= p.to_v; v += kProfileStepV) p.ah.push_back(2 * (v - 350));
    profiles.push_back(p);
  }
  const auto series = build_window_series(profiles);
  REQUIRE(series.size() == 1);
  CHECK(series[0].low_v == 375);
  CHECK(series[0].high_v == 385);
  CHECK(series[0].points.size() == 10);
  for (const WindowPoint& p : series[0].points) CHECK(p.ah == doctest::Approx(20));
  // Two of ten that begin late do not narrow it for the others.
  profiles[8].from_v = profiles[9].from_v = 383;
  for (int i : {8, 9}) profiles[static_cast<std::size_t>(i)].ah.resize(9);
  const auto fewer = build_window_series(profiles);
  REQUIRE(fewer.size() == 1);
  CHECK(fewer[0].low_v == 375);
  CHECK(fewer[0].n_not_spanning == 2);
}

TEST_CASE("voltage window: two years of fade are seen, whatever the controller believes") {
  for (const double believed_ah : {0.0, 160.0}) {
    const auto series = build_window_series(made_years(6, 24, 0.03, believed_ah));
    REQUIRE(series.size() == 1);
    REQUIRE(series[0].change);
    const WindowChange& change = *series[0].change;
    std::printf("window %.2f..%.2f V, seed 6: %+.2f %% (%.2f..%.2f) over %.0f days\n",
                series[0].low_v, series[0].high_v, change.change_pct.value, change.change_pct.low,
                change.change_pct.high, change.days);
    CHECK(change.direction == Direction::fell);
    // 3 % a year of 150 Ah over the days between the middles.
    const double truth = -3 * change.days / 365.25 * 12 * 30 / 365.25;
    CHECK(change.change_pct.low < truth * 0.9);
    CHECK(change.change_pct.high > truth * 1.15);
    CHECK(change.capacity_low_pct == doctest::Approx(change.change_pct.low / 0.8));
    CHECK(change.capacity_high_pct == doctest::Approx(change.change_pct.high / 3.8));
  }
}

TEST_CASE("voltage window: a pack that does not fade shows no change") {
  int seen = 0;
  for (unsigned seed = 20; seed < 30; ++seed) {
    const auto series = build_window_series(made_years(seed, 12, 0));
    REQUIRE(series.size() == 1);
    REQUIRE(series[0].change);
    seen += series[0].change->direction != Direction::no_change_seen;
  }
  CHECK(seen <= 2);
}

// Source: numpy 1.24.2 on the same files (running maximum of the voltage of the
// constant-current part, linear interpolation of the running charge).
TEST_CASE("voltage window: a measured cell over its life") {
  if (skip_without_data()) return;
  const std::array expected{28.08, 28.37, 27.92, 26.09, 23.68, 23.04,
                            21.01, 19.10, 17.89, 16.78, 16.25};
  const auto files = files_named("charge-lab-B0005-");
  const auto truth = measured_ah();
  REQUIRE(files.size() == expected.size());
  std::vector<VoltageProfile> profiles;
  std::vector<double> capacity_ah;
  std::printf("B0005: Ah between 374.40 and 398.40 V against measured capacity\n");
  for (std::size_t i = 0; i < files.size(); ++i) {
    CAPTURE(files[i]);
    ProfileOrWhy made = profile_charge(read_charge(files[i]));
    CAPTURE(made.why);
    REQUIRE(made.profile);
    const auto ah = window_ah(*made.profile, 374.4, 398.4);
    REQUIRE(ah);
    CHECK(std::abs(*ah - expected[i]) < 0.1);
    capacity_ah.push_back(truth.at(files[i])[0]);
    std::printf("  %s window %.2f Ah (%+.1f %%) capacity %.2f Ah (%+.1f %%)\n", files[i].c_str(),
                *ah, 100 * (*ah / expected[0] - 1), capacity_ah.back(),
                100 * (capacity_ah.back() / capacity_ah.front() - 1));
    made.profile->start = UtcTime{std::chrono::milliseconds{
        kReplayStartMs + static_cast<std::int64_t>(i) * 40 * kWindowDayMs}};
    profiles.push_back(*made.profile);
  }
  // The window that the data choose themselves, and what is made of it.
  const auto series = build_window_series(profiles);
  REQUIRE(series.size() == 1);
  std::printf("  chosen %.2f..%.2f V, %zu charges of %zu\n", series[0].low_v, series[0].high_v,
              series[0].points.size(), profiles.size());
  REQUIRE(series[0].change);
  const WindowChange& change = *series[0].change;
  std::printf("  %s by %.1f %% (%.1f..%.1f), so capacity by %.1f..%.1f %%\n",
              std::string(word_of(change.direction)).c_str(), change.change_pct.value,
              change.change_pct.low, change.change_pct.high, change.capacity_low_pct,
              change.capacity_high_pct);
  CHECK(change.direction == Direction::fell);
  // Measured capacity of the three last against the three first: inside the range.
  const double fade_pct = 100 * ((capacity_ah[8] + capacity_ah[9] + capacity_ah[10]) /
                                     (capacity_ah[0] + capacity_ah[1] + capacity_ah[2]) -
                                 1);
  CHECK(fade_pct > change.capacity_low_pct);
  CHECK(fade_pct < change.capacity_high_pct);
}

// As a van's charge goes through the rooms: words, reading, segments, trace.
TEST_CASE("charge trace: measured charges by way of episode and segment") {
  if (skip_without_data()) return;
  const auto truth = read_truth();
  const auto capacity = measured_ah();
  std::printf("Ah per 100 points (SoC of these files is charge by definition)\n");
  int shown = 0;
  for (const std::string& file : files_named("charge-lab-")) {
    if (file == "charge-lab-B0005-c012.csv") continue;  // a row each 10 s: gaps
    CAPTURE(file);
    const Episode episode = replay(file);
    const PackReading reading = agreed_reading();
    PackDecoder decoder;
    const PackRows rows = decoder.decode(episode.pack, &reading);
    const EnergyRules rules;
    const VanFacts facts;
    const SegmentInput input{episode, rows, &reading, facts, rules, false};
    const EpisodePlan plan = plan_segments(episode, rows, rules);
    const auto session = std::find_if(plan.segments.begin(), plan.segments.end(),
                                      [](auto& s) { return s.kind == SegmentKind::session; });
    REQUIRE(session != plan.segments.end());
    const ChargeTrace trace = trace_charge(input, *session, ChargeKind::ac);
    CHECK(trace.ah.back() == doctest::Approx(truth.at(file).at("charge_ah")).epsilon(0.003));
    CHECK(trace.coverage > 0.99);
    REQUIRE(trace.ambient_c);
    const ChargeCapacity found = measure_charge(trace);
    const double points = truth.at(file).at("soc_end") - truth.at(file).at("soc_start");
    const double defined_ah = 100 * truth.at(file).at("charge_ah") / points;
    const auto& measured = capacity.at(file);
    if (found.ah.figure) {
      ++shown;
      std::printf(
          "  %-34s %6.2f (%.2f..%.2f) whole charge %.2f, discharged before %.2f after "
          "%.2f: %+.1f %%\n",
          file.c_str(), found.ah.figure->value, found.ah.figure->low, found.ah.figure->high,
          defined_ah, measured[0], measured[1], 100 * (found.ah.figure->value / measured[0] - 1));
      CHECK(found.ah.figure->value == doctest::Approx(defined_ah).epsilon(0.004));
      CHECK(found.ah.figure->low < measured[0] * 1.01);
      CHECK(found.ah.figure->high > measured[0]);
    } else {
      std::printf("  %-34s %s\n", file.c_str(), found.ah.why.c_str());
      CHECK(points < 30.5);
    }
  }
  CHECK(shown >= 20);
}

}  // namespace packmile::testing
