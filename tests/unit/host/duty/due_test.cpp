// Rates of use, dates that follow from them, calendar arithmetic.
#include "duty/due.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <random>
#include <vector>

#include "figure.hpp"

namespace packmile::testing {
namespace {

using std::chrono::April;
using std::chrono::day;
using std::chrono::February;
using std::chrono::January;
using std::chrono::March;
using std::chrono::May;
using std::chrono::month;
using std::chrono::year;

LocalDay on(int y, unsigned m, unsigned d) { return LocalDay{year{y} / month{m} / day{d}}; }

UseRate rate_alone(double per_day, double se) {
  UseRate rate;
  rate.per_day = per_day;
  rate.u_per_day = se;
  rate.factor_95 = kZ95;
  return rate;
}

}  // namespace

// A worked example: R 3,000 miles, m 114.7, se 13.3 a day (numpy and scipy).
TEST_CASE("3,000 miles left at 114.7 a day last 26.2 days, 21.3 to 33.9 by the rate alone") {
  const auto days = days_until({3000, 0, 0}, rate_alone(114.7, 13.3));
  REQUIRE(days);
  CHECK(days->likely == doctest::Approx(26.155).epsilon(0.001));
  CHECK(days->earliest == doctest::Approx(21.3).epsilon(0.003));
  REQUIRE(days->latest);
  CHECK(*days->latest == doctest::Approx(33.9).epsilon(0.003));
}

TEST_CASE("The scatter of single days widens the interval, and so does what is left") {
  UseRate rate = rate_alone(114.7, 13.3);
  const auto alone = days_until({3000, 0, 0}, rate);
  rate.sd_day = 70;
  const auto with_days = days_until({3000, 0, 0}, rate);
  const auto with_left = days_until({3000, 200, 0}, rate);
  CHECK(with_days->earliest < alone->earliest);
  CHECK(*with_days->latest > *alone->latest);
  CHECK(with_left->earliest < with_days->earliest);
  CHECK(*with_left->latest == doctest::Approx(*with_days->latest));
}

TEST_CASE("A rate that may be 0 has an earliest date and no latest one") {
  const auto days = days_until({100, 0, 0}, rate_alone(1, 0.6));
  REQUIRE(days);
  CHECK(days->earliest == doctest::Approx(100 / (1 + kZ95 * 0.6)));
  CHECK_FALSE(days->latest);
  CHECK_FALSE(days_until({100, 0, 0}, rate_alone(0, 0)));
}

TEST_CASE("What is used up is due today") {
  const auto days = days_until({-5, 0, 0}, rate_alone(1, 0.1));
  REQUIRE(days);
  CHECK(days->likely == 0);
  CHECK(*days->latest == 0);
  const auto perhaps = days_until({10, 20, 20}, rate_alone(1, 0.1));
  CHECK(perhaps->earliest == 0);
  CHECK(perhaps->likely == doctest::Approx(10));
}

TEST_CASE("The day a part is used up lies in its interval 93 to 97 times of 100") {
  constexpr unsigned kSeed = 7;
  std::printf("seed %u\n", kSeed);
  std::mt19937 random{kSeed};
  std::gamma_distribution<double> miles{4, 30};
  std::uniform_real_distribution<double> share{0, 1};
  const auto one_day = [&] { return share(random) < 0.25 ? 0.0 : miles(random); };
  constexpr int kRounds = 3'000;
  constexpr double kLeft = 3'000;
  for (const int known : {28, 56}) {
    int inside = 0;
    for (int round = 0; round < kRounds; ++round) {
      std::vector<double> days(static_cast<std::size_t>(known));
      for (double& value : days) value = one_day();
      const auto rate = use_rate_of_days(days, on(2026, 3, 1));
      const auto due = days_until({kLeft, 0, 0}, *rate.rate);
      double used = 0;
      int truth = 0;
      while (used < kLeft) {
        used += one_day();
        ++truth;
      }
      inside += truth >= due->earliest && due->latest && truth <= *due->latest + 1;
    }
    const double covered = static_cast<double>(inside) / kRounds;
    std::printf("%d days known: covered %.3f\n", known, covered);
    CHECK(covered > 0.93);
    CHECK(covered < 0.98);
  }
}

TEST_CASE("Fewer than 14 days tell no rate, and whole weeks are taken") {
  const std::vector<double> days(40, 10.0);
  const auto few = use_rate_of_days(std::span{days}.first(13), on(2026, 3, 1));
  CHECK_FALSE(few.rate);
  CHECK(few.why.find("too early to tell: 13 days") == 0);
  CHECK(use_rate_of_days(std::span{days}.first(20), on(2026, 3, 1)).rate->days == 14);
  CHECK(use_rate_of_days(days, on(2026, 3, 1)).rate->days == 28);
}

TEST_CASE("A van that stands at weekends has no scatter from week to week") {
  std::vector<double> days;
  for (int week = 0; week < 8; ++week)
    for (int k = 0; k < 7; ++k) days.push_back(k < 5 ? 70 : 0);
  const auto rate = use_rate_of_days(days, on(2026, 3, 1)).rate;
  CHECK(rate->per_day == doctest::Approx(50));
  CHECK(rate->sd_day == doctest::Approx(0));
  const auto four = use_rate_of_days(std::span{days}.last(28), on(2026, 3, 1)).rate;
  CHECK(four->sd_day > 30);
}

TEST_CASE("Odometer readings alone make a rate") {
  const std::vector<CounterReading> readings{
      {on(2026, 1, 1), 1000, 1}, {on(2026, 2, 1), 2000, 1}, {on(2026, 3, 1), 3400, 1}};
  const auto rate = use_rate_of_readings(readings).rate;
  REQUIRE(rate);
  // The newest four weeks: 2026-02-01 to 2026-03-01.
  CHECK(rate->days == 28);
  CHECK(rate->per_day == doctest::Approx(50));
  CHECK(rate->sd_day == doctest::Approx(50));
  CHECK(rate->basis == "readings of 2026-02-01 and 2026-03-01");
}

TEST_CASE("Readings of two weeks are needed, and none may be lower than one before") {
  const auto early = use_rate_of_readings(
      std::vector<CounterReading>{{on(2026, 1, 1), 1000, 1}, {on(2026, 1, 9), 1300, 1}});
  CHECK_FALSE(early.rate);
  CHECK(early.why.find("after 2026-01-15") != std::string::npos);
  const auto fell = use_rate_of_readings(
      std::vector<CounterReading>{{on(2026, 1, 1), 1000, 1}, {on(2026, 2, 9), 900, 1}});
  CHECK_FALSE(fell.rate);
  CHECK(fell.why.find("correct the wrong one") != std::string::npos);
  CHECK_FALSE(use_rate_of_readings(std::vector<CounterReading>{{on(2026, 1, 1), 1, 1}}).rate);
  CHECK_FALSE(use_rate_of_readings({}).rate);
}

TEST_CASE("Many readings tell the scatter of a day from their own") {
  // Twelve weeks of a van with 100 km a day and a scatter of 30 km.
  std::mt19937 random{3};
  std::normal_distribution<double> daily{100, 30};
  std::vector<CounterReading> readings{{on(2026, 1, 1), 0, 0.1}};
  for (int week = 1; week <= 25; ++week) {
    double used = 0;
    for (int k = 0; k < 7; ++k) used += daily(random);
    readings.push_back(
        {on(2026, 1, 1) + std::chrono::days{7 * week}, readings.back().value + used, 0.1});
  }
  const auto rate = use_rate_of_readings(readings).rate;
  CHECK(rate->sd_day > 18);
  CHECK(rate->sd_day < 45);
}

TEST_CASE("Months later is the same day, or the last one of a short month") {
  CHECK(months_later(on(2026, 1, 31), 1) == on(2026, 2, 28));
  CHECK(months_later(on(2024, 1, 31), 1) == on(2024, 2, 29));
  CHECK(months_later(on(2026, 3, 15), 24) == on(2028, 3, 15));
  CHECK(months_later(on(2024, 2, 29), 12) == on(2025, 2, 28));
}

TEST_CASE("Dates further than 100 years are none") {
  CHECK_FALSE(due_from(on(2026, 1, 1), {1e6, 1e5, std::nullopt}));
  const auto near = due_from(on(2026, 1, 1), {10.4, 5, 40});
  CHECK(near->likely == on(2026, 1, 11));
  CHECK(near->earliest == on(2026, 1, 6));
  CHECK(*near->latest == on(2026, 2, 10));
  CHECK(text_of(near->likely) == "2026-01-11");
}

// 100,000 miles at 13,000 a year: arithmetic. 100,000 miles as 14 years of a private
// car is common practice, no source, and belongs to about 7,140 miles a year.
TEST_CASE("100,000 miles are 7.692 years of the average van and 14 of a private car") {
  CHECK(equivalent_years(100'000 * kKmPerMile) == doctest::Approx(7.692).epsilon(0.0001));
  CHECK(equivalent_years(100'000 * kKmPerMile, 100'000.0 / 14) == doctest::Approx(14));
}

// By hand: 100 a day, 5 of it unsure, 50 scatter; 36 days: 3,600 +- 1.96 sqrt(180^2 + 300^2).
TEST_CASE("What is used in some days has the rate's error and that of the days") {
  UseRate rate = rate_alone(100, 5);
  rate.sd_day = 50;
  const Figure used = used_in(rate, 36);
  CHECK(used.value == doctest::Approx(3'600));
  CHECK(used.high == doctest::Approx(3'600 + kZ95 * std::sqrt(180.0 * 180 + 300.0 * 300)));
  CHECK(used_in(rate, 1).low == doctest::Approx(100 - kZ95 * std::sqrt(25.0 + 2'500.0)));
  CHECK(used_in(rate_alone(1, 5), 10).low == 0);
}

TEST_CASE("Used up by its likeliest value, and perhaps not yet") {
  const auto days = days_until({-10, 0, 20}, rate_alone(1, 0.1));
  REQUIRE(days);
  CHECK(days->likely == 0);
  CHECK(days->earliest == 0);
  // left + 1.96 * 20 = 29.2 at most, at 1 a day and slower.
  REQUIRE(days->latest);
  CHECK(*days->latest > 29);
  CHECK(*days->latest < 40);
  CHECK(*days_until({-50, 0, 20}, rate_alone(1, 0.1))->latest == 0);
}

TEST_CASE("Earliest, likely and latest are in this order, whatever is left and used") {
  std::mt19937 random{11};
  std::uniform_real_distribution<double> any{0, 1};
  for (int round = 0; round < 20'000; ++round) {
    UseRate rate = rate_alone(any(random) * 100, any(random) * 60);
    rate.sd_day = any(random) * 200;
    if (round % 3 == 0) rate.u_per_day = rate.per_day / rate.factor_95;  // a border of its own
    const Left left{(any(random) - 0.2) * 5'000, any(random) * 500, any(random) * 500};
    const auto days = days_until(left, rate);
    if (!days) continue;
    REQUIRE(days->earliest <= days->likely);
    REQUIRE((!days->latest || *days->latest >= days->likely));
    REQUIRE(days->earliest >= 0);
    const auto due = due_from(on(2026, 1, 1), *days);
    if (!due) continue;
    REQUIRE(due->earliest <= due->likely);
    REQUIRE((!due->latest || *due->latest >= due->likely));
  }
}

TEST_CASE("An interval is never cut shorter by whole days") {
  const auto due = due_from(on(2026, 1, 1), {10.4, 5.9, 40.1});
  CHECK(due->earliest == on(2026, 1, 6));
  CHECK(*due->latest == on(2026, 2, 11));
}

}  // namespace packmile::testing
