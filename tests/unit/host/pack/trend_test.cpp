// The slope of monthly values and its refusals.
#include "pack/trend.hpp"

#include <doctest/doctest.h>

#include <optional>
#include <cmath>
#include <cstdio>
#include <random>

namespace packmile::testing {
namespace {

constexpr int kTrendJanuary = 2026 * 12;

std::vector<MonthValue> months(std::initializer_list<int> after_january_2026) {
  std::vector<MonthValue> values;
  for (const int m : after_january_2026) {
    values.push_back({kTrendJanuary + m, double(m), 60 - 0.1 * m + 0.01 * (m * 7 % 5), 0});
  }
  return values;
}

}  // namespace

TEST_CASE("trend: months of the calendar") {
  const UtcTime january{std::chrono::milliseconds{1'767'592'800'000}};  // 2026-01-05
  CHECK(month_of(january, {}) == kTrendJanuary);
  CHECK(start_of_month(kTrendJanuary, {}) ==
        UtcTime{std::chrono::milliseconds{1'767'225'600'000}});  // 2026-01-01, date -d
  CHECK(month_of(UtcTime::max(), {}) == 9999 * 12 + 11);
  CHECK(month_of(UtcTime::min(), {}) == 0);
  for (int m = 0; m < 30; ++m) CHECK(month_of(start_of_month(m, {}), {}) == m);
  CHECK(month_of(start_of_month(kTrendJanuary + 1, {}) - std::chrono::milliseconds{1}, {}) ==
        kTrendJanuary);
}

// Source: the IANA database as the system packages it; by hand, New York is 5 h behind
// UTC in winter and 4 in summer, Auckland 13 h ahead in January.
TEST_CASE("trend: months begin by the clocks of the depot") {
  const auto at = [](int year, unsigned month, unsigned day, int hour) {
    return UtcTime{std::chrono::sys_days{std::chrono::year{year} / std::chrono::month{month} /
                                         std::chrono::day{day}}} +
           std::chrono::hours{hour};
  };
  const std::optional<Zone> west = Zone::find("America/New_York").value();
  const std::optional<Zone> east = Zone::find("Pacific/Auckland").value();
  const int february = kTrendJanuary + 1;
  CHECK(month_of(at(2026, 2, 1, 4), west) == kTrendJanuary);
  CHECK(month_of(at(2026, 2, 1, 5), west) == february);
  CHECK(month_of(at(2026, 1, 31, 10), east) == kTrendJanuary);
  CHECK(month_of(at(2026, 1, 31, 11), east) == february);
  CHECK(start_of_month(february, west) == at(2026, 2, 1, 5));
  CHECK(start_of_month(february + 5, west) == at(2026, 7, 1, 4));
  CHECK(start_of_month(february, east) == at(2026, 1, 31, 11));
  for (const auto& zone : {west, east}) {
    for (int m = kTrendJanuary; m < kTrendJanuary + 24; ++m) {
      CHECK(month_of(start_of_month(m, zone), zone) == m);
      CHECK(month_of(start_of_month(m, zone) - std::chrono::milliseconds{1}, zone) == m - 1);
    }
    CHECK(month_of(UtcTime::max(), zone) == 9999 * 12 + 11);
    CHECK(month_of(UtcTime::min(), zone) == 0);
  }
}

TEST_CASE("trend: refused below twelve months or two like seasons") {
  CHECK_FALSE(fit_trend({}).trend);
  CHECK_FALSE(fit_trend(months({0, 1, 2, 3})).trend);
  const auto eleven = fit_trend(months({0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}));
  CHECK_FALSE(eleven.trend);
  CHECK(eleven.why.find("12 months") != std::string::npos);
  CHECK(eleven.residual_sd);
  const auto twelve = fit_trend(months({0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}));
  REQUIRE(twelve.trend);
  CHECK(twelve.trend->weak);
  CHECK(twelve.trend->slope == doctest::Approx(-0.1).epsilon(0.05));
  // Two summers.
  const auto summers = fit_trend(months({5, 6, 7, 17, 18, 19}));
  REQUIRE(summers.trend);
  CHECK(summers.trend->low < -0.1);
  CHECK(summers.trend->high > -0.1);
  // A summer and a winter are no like seasons.
  CHECK_FALSE(fit_trend(months({5, 6, 7, 11, 12, 13})).trend);
  CHECK_FALSE(fit_trend(months({5, 6, 17, 18, 9, 10})).trend);
}

TEST_CASE("trend: from 24 months it is not weak, and one wild month does not turn it") {
  std::vector<MonthValue> values;
  for (int m = 0; m < 24; ++m) {
    values.push_back({kTrendJanuary + m, double(m), 60 - 0.1 * m + 0.02 * (m * 7 % 5), 0});
  }
  values[10].y = 40;
  const auto fitted = fit_trend(values);
  REQUIRE(fitted.trend);
  CHECK_FALSE(fitted.trend->weak);
  CHECK(fitted.trend->slope == doctest::Approx(-0.1).epsilon(0.05));
  CHECK(fitted.trend->residual_sd < 0.1);
}

// A season that repeats is not a slope: with it the interval must still cover.
TEST_CASE("trend: coverage over seeded years, plain and with a season") {
  for (const double season : {0.0, 0.8}) {
    std::mt19937 random{77};  // seed 77
    std::normal_distribution<double> noise{0, 0.5};
    int inside = 0;
    constexpr int kRounds = 600;
    for (int round = 0; round < kRounds; ++round) {
      std::vector<MonthValue> values;
      for (int m = 0; m < 24; ++m) {
        values.push_back({kTrendJanuary + m, double(m),
                          60 - 0.1 * m + noise(random) + season * std::cos(m * 0.5235987756), 0.5});
      }
      const auto fitted = fit_trend(values);
      REQUIRE(fitted.trend);
      inside += fitted.trend->low <= -0.1 && fitted.trend->high >= -0.1;
    }
    std::printf("trend, seed 77, season %.1f: covers %.3f\n", season, double(inside) / kRounds);
    CHECK(double(inside) / kRounds > 0.93);
  }
}

}  // namespace packmile::testing
