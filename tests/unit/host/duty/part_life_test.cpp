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
  const PartLife life = judge_part(
      {state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(100), kToday, kToday),
       state_by_age(LocalDay{std::chrono::year{2025} / 4 / 1}, {}, 24, kToday)});
  REQUIRE(life.decided_by);
  CHECK(*life.decided_by == PartRule::distance);
  CHECK(*life.used_share == doctest::Approx(0.8));
  CHECK(*life.age_share == doctest::Approx(426.0 / 730));
  CHECK(text_of(life.rules[0].due->likely) == "2026-07-11");
  CHECK(life.rules[0].due->earliest < life.rules[0].due->likely);
  CHECK(text_of(life.rules[1].due->likely) == "2027-04-01");
  CHECK(life.rules[1].due->earliest == life.rules[1].due->likely);

  const PartLife idle = judge_part(
      {state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(5), kToday, kToday),
       state_by_age(LocalDay{std::chrono::year{2025} / 4 / 1}, {}, 24, kToday)});
  CHECK(*idle.decided_by == PartRule::age);
}

TEST_CASE("What is overdue says by how much, and when it was due by age") {
  const auto age = state_by_age(LocalDay{std::chrono::year{2023} / 5 / 1}, {}, 36, kToday);
  CHECK(age.remaining.figure->value < 0);
  CHECK(text_of(age.due->likely) == "2026-05-01");
  const auto far =
      state_by_counter(PartRule::hours, exact(5'100), 5'000, steady(3), kToday, kToday);
  CHECK(far.remaining.figure->value == doctest::Approx(-100));
  CHECK(far.due->likely == kToday);
}

TEST_CASE("Without a limit, a fitting day or a rate the reason stands there") {
  const auto no_limit =
      state_by_counter(PartRule::starts, exact(200), std::nullopt, steady(3), kToday, kToday);
  CHECK_FALSE(no_limit.due);
  CHECK(no_limit.used.figure);
  CHECK(no_limit.due_why.find("no limit") != std::string::npos);
  const auto unknown = state_by_age(std::nullopt, "nobody said when it was fitted", 24, kToday);
  CHECK(unknown.due_why == "nobody said when it was fitted");
  const auto early = state_by_counter(PartRule::distance, exact(100), 20'000,
                                      {std::nullopt, "too early to tell"}, kToday, kToday);
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
  const auto state =
      state_by_measure({readings, {}, true}, 3.0, exact(31'000), steady(100), kToday);
  // 0.15 mm a 1,000 km: 3.0 mm at 43,333 km, 123 days away.
  REQUIRE(state.due);
  CHECK((state.due->likely - kToday).count() == 123);
  CHECK(state.remaining.figure->value == doctest::Approx(2.0));
  CHECK(*state.share == doctest::Approx(0.6));
  CHECK(state.due->earliest < kToday + std::chrono::days{110});

  readings.resize(1);
  const auto one = state_by_measure({readings, {}, true}, 3.0, exact(31'000), steady(100), kToday);
  CHECK_FALSE(one.due);
  CHECK(one.remaining.figure->value == doctest::Approx(5.0));
  CHECK(one.due_why.find("one measurement") == 0);
  CHECK_FALSE(state_by_measure({}, 3.0, exact(31'000), steady(100), kToday).used.figure);
}

TEST_CASE("A tread at the limit is due today, whatever the rate") {
  const std::vector<DepthReading> readings{{1, kToday, 30'000, 1.5, 0.25, 0.1}};
  const auto state = state_by_measure({readings, {}, false}, 1.6, exact(30'000),
                                      {std::nullopt, "no rate"}, kToday);
  REQUIRE(state.due);
  CHECK(state.due->likely == kToday);
  CHECK(state.remaining.figure->value < 0);
}

// Known up to 20 days ago: 16,000 of 20,000 km, at 100 a day. Today it is 18,000, and it
// lasts 40 days from then, 20 from now.
TEST_CASE("What was used since the last day on record counts, and dates begin there") {
  const LocalDay then = kToday - std::chrono::days{20};
  const RuleState state =
      state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(100), then, kToday);
  CHECK(state.used.figure->value == doctest::Approx(18'000));
  CHECK(state.remaining.figure->value == doctest::Approx(2'000));
  CHECK(state.remaining.figure->low < 1'700);
  CHECK(state.remaining.figure->high > 2'300);
  CHECK(*state.share == doctest::Approx(0.9));
  CHECK((state.due->likely - kToday).count() == 20);
  // Without a rate it stands as it was known.
  const RuleState early = state_by_counter(PartRule::distance, exact(16'000), 20'000,
                                           {std::nullopt, "too early"}, then, kToday);
  CHECK(early.used.figure->value == 16'000);
  // Half a year behind: used up in the meantime, as far as anybody can tell.
  const RuleState late = state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(100),
                                          kToday - std::chrono::days{180}, kToday);
  CHECK(late.remaining.figure->value < 0);
  CHECK(late.due->likely == kToday - std::chrono::days{140});
}

TEST_CASE("Of two rules that are used up the one that was first decides") {
  const LocalDay passed = kToday - std::chrono::days{100};
  const PartLife life =
      judge_part({state_by_age(LocalDay{std::chrono::year{2024} / 5 / 1}, {}, 24, kToday),
                  state_by_counter(PartRule::distance, exact(21'000), 20'000, steady(100), kToday,
                                   kToday, DueDates{passed, passed, passed})});
  CHECK(text_of(life.rules[0].due->likely) == "2026-05-01");
  CHECK(*life.decided_by == PartRule::distance);
  CHECK(life.rules[1].due->likely == passed);
  CHECK(life.perhaps.empty());
}

TEST_CASE("What else may come first is named: a rule without a date, and ranges that overlap") {
  const RuleState age = state_by_age(LocalDay{std::chrono::year{2024} / 7 / 15}, {}, 24, kToday);
  const PartLife blind =
      judge_part({state_by_counter(PartRule::distance, exact(100), 20'000,
                                   {std::nullopt, "too early to tell"}, kToday, kToday),
                  age});
  CHECK(*blind.decided_by == PartRule::age);
  CHECK(blind.perhaps == "distance may come first, it is not known: too early to tell");
  // 40 days by distance, with a range; 44 by age.
  const PartLife near = judge_part(
      {state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(100), kToday, kToday),
       age});
  CHECK(*near.decided_by == PartRule::distance);
  CHECK(near.perhaps == "age may come first");
  // Never by this rate, or far away: no doubt.
  const PartLife idle = judge_part(
      {state_by_counter(PartRule::distance, exact(16'000), 20'000, steady(0), kToday, kToday),
       age});
  CHECK(*idle.decided_by == PartRule::age);
  CHECK(idle.perhaps.empty());
  CHECK(idle.rules[0].due_why.find("never due") != std::string::npos);
  const PartLife far = judge_part(
      {state_by_counter(PartRule::distance, exact(1'000), 20'000, steady(10), kToday, kToday),
       age});
  CHECK(far.perhaps.empty());
}

// Fitted on some day between 1 March and 31 March 2025: the middle is 16 March.
TEST_CASE("A fitting that lies between two days makes a range of its age") {
  const RuleState state = state_by_age(LocalDay{std::chrono::year{2025} / 3 / 31}, {}, 24, kToday,
                                       LocalDay{std::chrono::year{2025} / 3 / 1});
  CHECK(text_of(state.due->earliest) == "2027-03-01");
  CHECK(text_of(state.due->likely) == "2027-03-16");
  CHECK(text_of(*state.due->latest) == "2027-03-31");
  CHECK(state.used.figure->low < state.used.figure->value);
  CHECK(state.remaining.figure->low < state.remaining.figure->value);
}

TEST_CASE("After new pads nothing of the old ones counts, and nothing grows") {
  const std::vector<DepthReading> readings{
      {1, kToday - std::chrono::days{200}, 10'000, 4.0, 0.25, 0.5},
      {2, kToday - std::chrono::days{10}, 30'000, 12.0, 0.25, 0.5}};
  const auto state =
      state_by_measure({readings, {}, false}, 3.0, exact(31'000), steady(100), kToday);
  CHECK(state.used.figure->value == 0);
  CHECK(state.remaining.figure->value == doctest::Approx(9.0));
  CHECK(*state.share == 0);
  CHECK_FALSE(state.due);
  const std::vector<DepthReading> grown{{1, kToday - std::chrono::days{9}, 10'000, 5.0, 0.25, 0.1},
                                        {2, kToday, 10'400, 5.2, 0.25, 0.1}};
  const auto noise = state_by_measure({grown, {}, true}, 3.0, exact(10'400), steady(100), kToday);
  CHECK(noise.used.figure->value == 0);
  CHECK(noise.used.figure->low == 0);
}

TEST_CASE("Of a tyre that was not measured when it was new no share is told") {
  const std::vector<DepthReading> readings{
      {1, kToday - std::chrono::days{200}, 10'000, 4.5, 0.25, 0.1},
      {2, kToday - std::chrono::days{10}, 30'000, 3.6, 0.25, 0.1}};
  CHECK_FALSE(
      state_by_measure({readings, {}, false}, 3.0, exact(31'000), steady(100), kToday).share);
  CHECK(*state_by_measure({readings, {}, true}, 3.0, exact(31'000), steady(100), kToday).share ==
        doctest::Approx(0.6));
}

TEST_CASE("An odometer that is not sure widens a tread's date, which counts from its day") {
  const std::vector<DepthReading> readings{
      {1, kToday - std::chrono::days{200}, 10'000, 8.0, 0.25, 0.1},
      {2, kToday - std::chrono::days{60}, 30'000, 5.0, 0.25, 0.1}};
  const Measured part{readings, {}, true};
  const LocalDay then = kToday - std::chrono::days{60};
  const auto sure = state_by_measure(part, 3.0, exact(30'000), steady(100), then);
  const auto unsure = state_by_measure(part, 3.0, MaybeFigure::known({30'000, 28'000, 33'000, 0}),
                                       steady(100), then);
  // 3.0 mm at 43,333 km: 133 days from then.
  CHECK((sure.due->likely - then).count() == 133);
  CHECK(unsure.due->likely == sure.due->likely);
  CHECK(unsure.due->earliest < sure.due->earliest);
  CHECK(*unsure.due->latest > *sure.due->latest);
  CHECK(
      state_by_measure(part, 3.0, MaybeFigure::unknown("no odometer"), steady(100), then).due_why ==
      "no odometer");
}

}  // namespace packmile::testing
