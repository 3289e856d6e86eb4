// A part's rules, and which of them comes first.
#include "duty/part_life.hpp"

#include <doctest/doctest.h>

namespace packmile::testing {
namespace {

constexpr LocalDay kToday{std::chrono::year{2026} / 6 / 1};

UseRateOrWhy steady(double per_day) {
  UseRate rate;
  rate.per_day = per_day;
  rate.u_per_day = per_day / 20;
  rate.sd_day = per_day / 2;
  rate.factor_95 = kZ95;
  rate.days = 28;
  rate.basis = "28 days to 2026-06-01";
  return {rate, {}};
}

MaybeFigure exact(double value) { return MaybeFigure::known({value, value, value, 0}); }

}  // namespace

TEST_CASE("Whichever comes first decides, and duty and age stand side by side") {
  // 4,000 of 20,000 km left at 100 km a day: 40 days. 2 years, fitted 14 months ago:
  // 10 months left.
  const PartLife life =
      judge_part({state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(100), kToday),
                  state_by_age(LocalDay{std::chrono::year{2025} / 4 / 1}, {}, 24, kToday)});
  REQUIRE(life.decided_by);
  CHECK(*life.decided_by == PartRule::distance);
  CHECK(*life.used_share == doctest::Approx(0.8));
  CHECK(*life.age_share == doctest::Approx(426.0 / 730));
  CHECK(text_of(life.rules[0].due->likely) == "2026-07-11");
  CHECK(life.rules[0].due->earliest < life.rules[0].due->likely);
  CHECK(text_of(life.rules[1].due->likely) == "2027-04-01");
  CHECK(life.rules[1].due->earliest == life.rules[1].due->likely);

  const PartLife idle =
      judge_part({state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(5), kToday),
                  state_by_age(LocalDay{std::chrono::year{2025} / 4 / 1}, {}, 24, kToday)});
  CHECK(*idle.decided_by == PartRule::age);
}

TEST_CASE("What is overdue says by how much, and when it was due by age") {
  const auto age = state_by_age(LocalDay{std::chrono::year{2023} / 5 / 1}, {}, 36, kToday);
  CHECK(age.remaining.figure->value < 0);
  CHECK(text_of(age.due->likely) == "2026-05-01");
  const auto far = state_by_counter(PartRule::hours, exact(5'100), 5'000, steady(3), kToday);
  CHECK(far.remaining.figure->value == doctest::Approx(-100));
  CHECK(far.due->likely == kToday);
}

TEST_CASE("Without a limit, a fitting day or a rate the reason stands there") {
  const auto no_limit =
      state_by_counter(PartRule::starts, exact(200), std::nullopt, steady(3), kToday);
  CHECK_FALSE(no_limit.due);
  CHECK(no_limit.used.figure);
  CHECK(no_limit.due_why.find("no limit") != std::string::npos);
  const auto unknown = state_by_age(std::nullopt, "nobody said when it was fitted", 24, kToday);
  CHECK(unknown.due_why == "nobody said when it was fitted");
  const auto early = state_by_counter(PartRule::distance, exact(100), 20'000,
                                      {std::nullopt, "too early to tell"}, kToday);
  CHECK_FALSE(early.due);
  CHECK(early.remaining.figure->value == doctest::Approx(19'900));
  CHECK(early.due_why == "too early to tell");
  const PartLife life = judge_part({early, unknown});
  CHECK_FALSE(life.decided_by);
  CHECK(life.decided_why == "too early to tell");
}

TEST_CASE("A tread's date comes from its wear and the van's use") {
  std::vector<DepthReading> readings{{1, kToday - std::chrono::days{200}, 10'000, 8.0, 0.25, 0.1},
                                     {2, kToday - std::chrono::days{10}, 30'000, 5.0, 0.25, 0.1}};
  const auto state = state_by_measure(readings, 3.0, 31'000, steady(100), kToday);
  // 0.15 mm a 1,000 km: 3.0 mm at 43,333 km, 123 days away.
  REQUIRE(state.due);
  CHECK((state.due->likely - kToday).count() == 123);
  CHECK(state.remaining.figure->value == doctest::Approx(2.0));
  CHECK(*state.share == doctest::Approx(0.6));
  CHECK(state.due->earliest < kToday + std::chrono::days{110});

  readings.resize(1);
  const auto one = state_by_measure(readings, 3.0, 31'000, steady(100), kToday);
  CHECK_FALSE(one.due);
  CHECK(one.remaining.figure->value == doctest::Approx(5.0));
  CHECK(one.due_why.find("one measurement") == 0);
  CHECK_FALSE(state_by_measure({}, 3.0, 31'000, steady(100), kToday).used.figure);
}

TEST_CASE("A tread at the limit is due today, whatever the rate") {
  const std::vector<DepthReading> readings{{1, kToday, 30'000, 1.5, 0.25, 0.1}};
  const auto state = state_by_measure(readings, 1.6, 30'000, {std::nullopt, "no rate"}, kToday);
  REQUIRE(state.due);
  CHECK(state.due->likely == kToday);
  CHECK(state.remaining.figure->value < 0);
}

}  // namespace packmile::testing
