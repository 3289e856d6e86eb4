// Wear by a hand gauge against outside results.
#include "duty/wear.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <random>
#include <vector>

namespace packmile::testing {
namespace {

constexpr LocalDay kDay{std::chrono::year{2026} / 1 / 1};

std::vector<DepthReading> readings_of(const std::vector<double>& km,
                                      const std::vector<double>& depth, double gauge = 0.25) {
  std::vector<DepthReading> out;
  for (std::size_t k = 0; k < km.size(); ++k)
    out.push_back({static_cast<std::uint32_t>(k + 1),
                   kDay + std::chrono::days{static_cast<int>(30 * k)}, km[k], depth[k], gauge,
                   0.1});
  return out;
}

}  // namespace

// scipy 1.10.1, linregress and brentq on the inverse regression band: slope
// -0.151195 a 1,000, se 0.003458; 1.6 mm at 42.564, 95 % 40.415 to 45.037.
TEST_CASE("Five treads reach 1.6 mm where the regression of scipy says") {
  const auto fit = fit_wear(readings_of({0, 6200, 12100, 18400, 24000}, {8.0, 7.1, 6.3, 5.2, 4.4}));
  REQUIRE(fit.wear);
  CHECK(fit.wear->mm_per_1000_km.value == doctest::Approx(0.151195).epsilon(1e-5));
  CHECK(fit.wear->line.u_slope * 1000 == doctest::Approx(0.003458).epsilon(1e-3));
  CHECK(fit.wear->line.intercept == doctest::Approx(8.035507).epsilon(1e-6));
  const KmLeft left = km_to_limit(*fit.wear, 1.6, 24'000);
  CHECK(left.likely == doctest::Approx(42'564 - 24'000).epsilon(1e-4));
  CHECK(left.low == doctest::Approx(40'415 - 24'000).epsilon(1e-4));
  REQUIRE(left.high);
  CHECK(*left.high == doctest::Approx(45'037 - 24'000).epsilon(1e-4));
}

// 0.1500 +- 0.0289 mm a 1,000, 18.67 left: u = 0.25 sqrt(2) / 24, by hand.
TEST_CASE("Two treads and the gauge's error") {
  const auto fit = fit_wear(readings_of({0, 24'000}, {8.0, 4.4}));
  REQUIRE(fit.wear);
  CHECK(fit.wear->mm_per_1000_km.value == doctest::Approx(0.15));
  CHECK(fit.wear->mm_per_1000_km.scatter == doctest::Approx(0.02887).epsilon(1e-3));
  const KmLeft left = km_to_limit(*fit.wear, 1.6, 24'000);
  CHECK(left.likely == doctest::Approx(18'667).epsilon(1e-3));
  CHECK(left.low < 16'500);
  CHECK(*left.high > 21'000);
}

TEST_CASE("The true distance to the limit lies in the interval 93 to 98 times of 100") {
  constexpr unsigned kSeed = 12;
  std::printf("seed %u\n", kSeed);
  std::mt19937 random{kSeed};
  std::normal_distribution<double> gauge{0, 0.25};
  constexpr int kRounds = 4'000;
  for (const std::size_t n : {2U, 3U, 4U, 5U, 8U}) {
    int inside = 0, told = 0;
    for (int round = 0; round < kRounds; ++round) {
      std::vector<double> km, depth;
      for (std::size_t k = 0; k < n; ++k) {
        km.push_back(24'000.0 * static_cast<double>(k) / static_cast<double>(n - 1));
        depth.push_back(8 - 0.15e-3 * km.back() + gauge(random));
      }
      const auto fit = fit_wear(readings_of(km, depth));
      if (!fit.wear) continue;
      ++told;
      const KmLeft left = km_to_limit(*fit.wear, 1.6, 24'000);
      const double truth = (8 - 1.6) / 0.15e-3 - 24'000;
      inside += left.low <= truth && (!left.high || truth <= *left.high);
    }
    const double covered = static_cast<double>(inside) / told;
    std::printf("%zu readings: covered %.3f of %d\n", n, covered, told);
    CHECK(told > kRounds * 9 / 10);
    CHECK(covered > 0.93);
    CHECK(covered < 0.98);
  }
}

TEST_CASE("Wear below the gauge's resolution is said, not guessed") {
  const auto fit = fit_wear(readings_of({0, 1000}, {8.0, 7.8}));
  CHECK_FALSE(fit.wear);
  CHECK(fit.why.find("wear below gauge resolution") == 0);
  CHECK_FALSE(fit_wear(readings_of({0}, {8.0})).wear);
  CHECK_FALSE(fit_wear({}).wear);
  CHECK_FALSE(fit_wear(readings_of({500, 500}, {8.0, 6.0})).wear);
  CHECK_FALSE(fit_wear(readings_of({0, 9000, 18'000}, {6.0, 6.2, 6.4})).wear);
}

TEST_CASE("A rise begins a new life") {
  const auto fit = fit_wear(readings_of({0, 20'000, 21'000, 41'000}, {6.0, 3.0, 8.0, 5.0}));
  REQUIRE(fit.wear);
  CHECK(fit.wear->readings.size() == 2);
  CHECK(fit.wear->readings.front().depth_mm == 8.0);
  CHECK(fit.wear->mm_per_1000_km.value == doctest::Approx(0.15));
}

TEST_CASE("A rise that a gauge may err by begins none") {
  const auto fit = fit_wear(readings_of({0, 20'000, 21'000}, {8.0, 5.0, 5.4}));
  REQUIRE(fit.wear);
  CHECK(fit.wear->readings.size() == 3);
}

TEST_CASE("A tyre that is down to the limit has nothing left") {
  const auto fit = fit_wear(readings_of({0, 24'000}, {8.0, 1.4}));
  const KmLeft left = km_to_limit(*fit.wear, 1.6, 26'000);
  CHECK(left.likely == 0);
  CHECK(left.low == 0);
}

TEST_CASE("Readings on a line are no surer than their last digit") {
  const auto fit =
      fit_wear(readings_of({0, 5000, 10'000, 15'000, 20'000}, {8.0, 7.5, 7.0, 6.5, 6.0}));
  CHECK(fit.wear->mm_per_1000_km.scatter > 0.001);
}

// SI 1986/1078 regulation 27, as its public summaries have it.
TEST_CASE("The least legal tread goes by the plated weight") {
  CHECK(legal_tread_mm(3'500) == 1.6);
  CHECK(legal_tread_mm(4'250) == 1.0);
  CHECK(legal_tread_mm(std::nullopt) == 1.6);
}

// By hand: 8.0 to 6.0 mm over 10,000 km at the front are 0.2 mm a 1,000; another 5,000
// km there leave 5.0 mm at the move. 4.5 mm after 5,000 km at the rear are 0.1 a 1,000,
// where one line through all three would say 0.17.
TEST_CASE("A tyre that came from the other axle wears at its new rate") {
  const auto readings = readings_of({0, 10'000, 20'000}, {8.0, 6.0, 4.5}, 0.05);
  const std::vector<WearBorder> borders{{kDay + std::chrono::days{45}, 15'000, 2}};
  const auto here = since_border(readings, borders);
  REQUIRE(here.size() == 2);
  CHECK(here[0].depth_mm == doctest::Approx(5.0));
  // The line's own error 5,000 km behind its last reading: 0.05 sqrt(1/2 + 2).
  CHECK(here[0].gauge_u_mm == doctest::Approx(0.05 * std::sqrt(2.5)));
  const auto fit = fit_wear(here);
  REQUIRE(fit.wear);
  CHECK(fit.wear->mm_per_1000_km.value == doctest::Approx(0.1));
  CHECK(fit_wear(readings).wear->mm_per_1000_km.value == doctest::Approx(0.175).epsilon(0.01));
  // Measured on the day of the move: that reading is the beginning.
  const auto on_the_day = since_border(readings, std::vector<WearBorder>{{readings[1].day, {}, 2}});
  REQUIRE(on_the_day.size() == 2);
  CHECK(on_the_day[0].id == readings[1].id);
  // One reading before the move tells no wear there, and one since tells none here.
  const auto one = since_border(std::span{readings}.first(2),
                                std::vector<WearBorder>{{kDay + std::chrono::days{9}, 3'000, 1}});
  CHECK(one.size() == 1);
  CHECK(since_border(readings, {}).size() == 3);
}

TEST_CASE("A coarse gauge's own error is no rise") {
  CHECK(fit_wear(readings_of({0, 20'000, 21'000}, {8.0, 5.0, 5.8}, 0.25)).why.find("one") == 0);
  const auto coarse = fit_wear(readings_of({0, 20'000, 21'000}, {8.0, 5.0, 5.8}, 0.5));
  REQUIRE(coarse.wear);
  CHECK(coarse.wear->readings.size() == 3);
  CHECK(new_start_rise_mm(0.1, 0.1) == 0.5);
  CHECK(new_start_rise_mm(0.5, 0.5) == doctest::Approx(1.0));
}

TEST_CASE("The source of the law's tread says both depths and whose law it is") {
  const std::string source = kLegalTreadSource;
  CHECK(source.find("1.6 mm to 3,500 kg") == 0);
  CHECK(source.find("1.0 mm above") != std::string::npos);
  CHECK(source.find("SI 1986/1078") != std::string::npos);
}

}  // namespace packmile::testing
