#include "energy/swings.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <map>
#include <random>
#include <utility>
#include <vector>

#include "reading/pack_reading.hpp"

namespace packmile {
namespace {

std::vector<std::pair<double, double>> counts_of(const std::vector<double>& reversals) {
  std::vector<std::pair<double, double>> counts;
  Rainflow rainflow{[&](double range, double count) { counts.emplace_back(range, count); }};
  for (const double value : reversals) rainflow.push(value);
  rainflow.finish();
  return counts;
}

std::map<double, double> sums_of(const std::vector<double>& reversals) {
  std::map<double, double> sums;
  for (const auto& [range, count] : counts_of(reversals)) sums[range] += count;
  return sums;
}

}  // namespace

// T1, T2. Source: the example of ASTM E1049-85, as an open rainflow library's
// tests quote it.
TEST_CASE("swings: the standard's example") {
  const std::vector<double> series{-2, 1, -3, 5, -1, 3, -4, 4, -2};
  const std::map<double, double> expected{{3, 0.5}, {4, 1.5}, {6, 0.5}, {8, 1.0}, {9, 0.5}};
  CHECK(sums_of(series) == expected);
  const std::vector<std::pair<double, double>> order{{3, 0.5}, {4, 0.5}, {4, 1},  {8, 0.5},
                                                     {9, 0.5}, {8, 0.5}, {6, 0.5}};
  CHECK(counts_of(series) == order);
}

// T3. By hand; twice the counted ranges are all that moved.
TEST_CASE("swings: a day with regen and a top-up") {
  const std::vector<double> day{95, 70, 72, 40, 45, 30, 95};
  const std::map<double, double> expected{{2, 1}, {5, 1}, {65, 1}};
  CHECK(sums_of(day) == expected);
  double twice = 0;
  for (const auto& [range, count] : counts_of(day)) twice += 2 * range * count;
  CHECK(twice == 144);
}

TEST_CASE("swings: what is counted is what moved, for any series") {
  std::mt19937 random{3};
  for (int round = 0; round < 200; ++round) {
    std::vector<double> series;
    double moved = 0;
    for (int i = 0; i < 100; ++i) {
      // Reversals: up and down in turn.
      const double step = 1 + static_cast<double>(random() % 50);
      const double next = series.empty() ? 0 : series.back() + (i % 2 == 0 ? step : -step);
      if (!series.empty()) moved += std::abs(next - series.back());
      series.push_back(next);
    }
    double twice = 0;
    for (const auto& [range, count] : counts_of(series)) twice += 2 * range * count;
    CHECK(twice == doctest::Approx(moved).scale(0).epsilon(1e-12));
  }
}

TEST_CASE("swings: a chattering code is no swing, two codes are") {
  SocSwings swings;
  for (int i = 0; i < 100; ++i) swings.observe(i % 2 == 0 ? 200 : 201);
  CHECK(swings.finish().empty());
  // 200 -> 150 with chatter on the way -> 152 -> 100.
  for (std::uint32_t code = 200; code > 150; --code) {
    swings.observe(code);
    swings.observe(code - 1);
    swings.observe(code);
  }
  swings.observe(150);
  for (const std::uint32_t code : {151u, 152u, 151u, 150u, 120u, 100u}) swings.observe(code);
  const auto found = swings.finish();
  REQUIRE(found.size() == 2);
  CHECK(found[0].depth_pct == doctest::Approx(2 * kSocPctPerCode));
  CHECK(found[0].count == 1);
  CHECK(found[1].depth_pct == doctest::Approx(100 * kSocPctPerCode));
  CHECK(found[1].count == 0.5);
}

TEST_CASE("swings: any words are survived") {
  SocSwings swings;
  std::mt19937 random{9};
  for (int i = 0; i < 100'000; ++i) swings.observe(static_cast<std::uint32_t>(random()));
  for (const SwingCount& swing : swings.finish()) CHECK(swing.depth_pct <= 100.001);
}

}  // namespace packmile
