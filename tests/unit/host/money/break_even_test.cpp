// Keep one more year or sell: the textbook's machine, draws, what decides.
#include "money/break_even.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

namespace packmile::testing {
namespace {

ThreePoint sure(double value) { return {value, value, value}; }

// A challenger of 15,430 a year and the textbook's owned machine worth 15,000: its
// next year costs 13,250, and its break-even price is 16,895.65.
KeepInputs textbook() {
  KeepInputs in;
  in.challenger_price = sure(15'430 / 1.15);
  in.challenger_resale = sure(0);
  in.challenger_years = 1;
  in.challenger_repairs = sure(0);
  in.challenger_lost_days = sure(0);
  in.resale_now = sure(15'000);
  in.resale_next_year = sure(14'000);
  in.repairs_next_year = sure(10'000);
  in.lost_days_next_year = sure(0);
  in.hire_per_lost_day = 0;
  in.miles_per_year = sure(10'000);
  in.rate = 0.15;
  in.rate_basis = RateBasis::nominal;
  return in;
}

KeepInputs ranges() {
  KeepInputs in = textbook();
  in.challenger_price = ThreePoint{19'000, 21'500, 24'000};
  in.challenger_years = 5;
  in.challenger_resale = ThreePoint{5'000, 7'000, 9'500};
  in.challenger_repairs = ThreePoint{300, 600, 1'200};
  in.challenger_lost_days = ThreePoint{1, 3, 6};
  in.resale_now = ThreePoint{7'000, 8'500, 9'800};
  in.resale_next_year = ThreePoint{5'200, 6'600, 8'000};
  in.repairs_next_year = ThreePoint{700, 1'500, 3'500};
  in.lost_days_next_year = ThreePoint{3, 8, 18};
  in.hire_per_lost_day = 85;
  in.miles_per_year = ThreePoint{9'000, 10'500, 12'000};
  in.rate = 0.06;
  return in;
}

}  // namespace

// Newnan et al., ch. 13: problem 13-10 (13th ed.): 50,000, a fifth less each year, 3,500
// and 2,000 more each year, 9 %: 17,240 a year, kept four years.
TEST_CASE("A challenger told by the year is kept for the years that cost least") {
  KeepInputs in = textbook();
  in.rate = 0.09;
  in.challenger_price = sure(50'000);
  in.challenger_resale.reset();
  in.challenger_repairs.reset();
  in.challenger_years.reset();
  for (int year = 1; year <= 7; ++year) {
    in.challenger_resale_by_year.push_back(sure(50'000 * std::pow(0.8, year)));
    in.challenger_repairs_by_year.push_back(sure(3'500 + 2'000 * (year - 1)));
  }
  CHECK(missing_inputs(in).empty());
  const KeepOrSell told = keep_or_sell(in);
  CHECK(told.challenger_years == 4);
  CHECK(told.challenger_searched);
  CHECK(told.challenger_per_mile.value * 10'000 == doctest::Approx(17'240).epsilon(1e-4));
  in.challenger_repairs_by_year.pop_back();
  CHECK(missing_inputs(in) == std::vector<std::string>{"challenger_repairs_by_year of 7 years"});
}

// The textbook's owned machine: 15,000 that lose 1,000 a year, 10,000 and 1,500 more
// each year, 15 %: kept two years and replaced in the third. Its price for two years by
// hand: 15,430 * 1.6257089 + 13,000 * 0.7561437 - 10,000 * 0.8695652 - 11,500 * 0.7561437.
TEST_CASE("An owned machine told by the year is kept for the years that are best for it") {
  KeepInputs in = textbook();
  in.resale_next_year.reset();
  in.repairs_next_year.reset();
  in.resale_by_year = {sure(14'000), sure(13'000), sure(12'000)};
  in.repairs_by_year = {sure(10'000), sure(11'500), sure(13'000)};
  CHECK(missing_inputs(in).empty());
  const KeepOrSell told = keep_or_sell(in);
  CHECK(told.break_even_price.value == doctest::Approx(17'523.25).epsilon(1e-5));
  CHECK(told.keeping_searched);
  CHECK(told.verdict == KeepVerdict::keep);
  // A price that one more year does not bear, and two do.
  in.resale_now = sure(17'200);
  CHECK(keep_or_sell(in).verdict == KeepVerdict::keep);
  CHECK(keep_or_sell(in).keeping_years == 2);
  in.resale_now = sure(17'600);
  CHECK(keep_or_sell(in).verdict == KeepVerdict::sell);
  // An input by the year moves the price as one.
  in.repairs_by_year = {ThreePoint{9'000, 10'000, 11'000}, ThreePoint{10'500, 11'500, 12'500},
                        sure(13'000)};
  const KeepOrSell ranged = keep_or_sell(in);
  REQUIRE(ranged.swings.size() == 1);
  CHECK(ranged.swings[0].input == "repairs_by_year");
  CHECK(ranged.swings[0].width() > 3'000);
  CHECK(ranged.break_even_price.low < ranged.break_even_price.value);
  in.repairs_by_year.pop_back();
  CHECK(missing_inputs(in) == std::vector<std::string>{"repairs_by_year of 3 years"});
}

// Newnan et al., ch. 13, and the formula of the break-even price.
TEST_CASE("The textbook's machine is kept, below 16,895.65") {
  const KeepOrSell told = keep_or_sell(textbook());
  CHECK(told.break_even_price.value == doctest::Approx(16'895.65).epsilon(1e-6));
  CHECK(told.break_even_price.low == doctest::Approx(told.break_even_price.high));
  CHECK(told.keeping_per_mile.value == doctest::Approx(1.325));
  CHECK(told.challenger_per_mile.value == doctest::Approx(1.543));
  CHECK(told.verdict == KeepVerdict::keep);
  CHECK(told.selling_is_cheaper == 0);
  CHECK(told.swings.empty());
}

TEST_CASE("Above the break-even price it is sold") {
  KeepInputs in = textbook();
  in.resale_now = sure(17'000);
  CHECK(keep_or_sell(in).verdict == KeepVerdict::sell);
  in.resale_now = sure(16'800);
  CHECK(keep_or_sell(in).verdict == KeepVerdict::keep);
}

TEST_CASE("Overlapping ranges leave it open, and say which inputs move it most") {
  const KeepOrSell told = keep_or_sell(ranges());
  CHECK(told.verdict == KeepVerdict::open);
  CHECK(told.selling_is_cheaper > 0.1);
  CHECK(told.selling_is_cheaper < 0.9);
  CHECK(told.break_even_price.low < told.break_even_price.value);
  CHECK(told.break_even_price.high > told.break_even_price.value);
  REQUIRE(told.swings.size() >= 3);
  CHECK(told.swings[0].width() >= told.swings[1].width());
  CHECK(told.swings[1].width() >= told.swings[2].width() - 1e-6);  // equal ones
  // Repairs of 2,800 and resale of 2,800, each over 1.06; what it would fetch now, 2,800
  // as they are.
  const auto swing = [&](std::string_view key) {
    return std::ranges::find(told.swings, key, &InputSwing::input)->width();
  };
  CHECK(swing("repairs_next_year") == doctest::Approx(2'800 / 1.06));
  CHECK(swing("resale_next_year") == doctest::Approx(2'800 / 1.06));
  CHECK(swing("resale_now") == doctest::Approx(2'800));
  CHECK(swing("lost_days_next_year") == doctest::Approx(15 * 85 / 1.06));
  CHECK(swing("miles_a_year") == doctest::Approx(0));
}

TEST_CASE("The interval is that of the draws: its middle 95 % by simple propagation") {
  // One input alone, triangular 700 1,500 3,500: quantiles by hand. The distribution's
  // 2.5 % is 700 + sqrt(0.025 * 2,800 * 800), its 97.5 % 3,500 - sqrt(0.025 * 2,800 * 2,000).
  KeepInputs in = textbook();
  in.repairs_next_year = ThreePoint{700, 1'500, 3'500};
  const KeepOrSell told = keep_or_sell(in);
  const auto price = [](double repairs) { return (15'430 + 14'000 - repairs) / 1.15; };
  CHECK(std::abs(told.break_even_price.high - price(700 + std::sqrt(0.025 * 2'800 * 800))) < 60);
  CHECK(std::abs(told.break_even_price.low - price(3'500 - std::sqrt(0.025 * 2'800 * 2'000))) < 60);
}

TEST_CASE("Lost days and their hire count, and what was once paid is no input") {
  KeepInputs in = ranges();
  const double before = keep_or_sell(in).break_even_price.value;
  in.lost_days_next_year = ThreePoint{13, 18, 28};
  CHECK(keep_or_sell(in).break_even_price.value == doctest::Approx(before - 10 * 85 / 1.06));
  in.hire_per_lost_day = 0;
  CHECK(keep_or_sell(in).break_even_price.value > before);
}

TEST_CASE("Energy is counted for both vans or for none") {
  KeepInputs in = ranges();
  CHECK(keep_or_sell(in).basis.find("energy is left out of both") != std::string::npos);
  in.cost_per_mile = ThreePoint{0.08, 0.08, 0.08};
  CHECK(missing_inputs(in) == std::vector<std::string>{"challenger_cost_per_mile"});
  in.challenger_cost_per_mile = ThreePoint{0.06, 0.06, 0.06};
  CHECK(missing_inputs(in).empty());
  KeepInputs without = ranges();
  CHECK(keep_or_sell(in).break_even_price.value ==
        doctest::Approx(keep_or_sell(without).break_even_price.value - 0.02 * 10'500 / 1.06));
}

TEST_CASE("Nothing has a default: what is missing is listed by its key") {
  const auto missing = missing_inputs({});
  CHECK(missing.size() == 13);
  for (const char* key : {"challenger_price", "resale_now", "repairs_next_year", "rate_pct",
                          "rate_kind", "hire_per_lost_day", "miles_a_year"})
    CHECK(std::ranges::find(missing, key) != missing.end());
  CHECK(missing_inputs(ranges()).empty());
}

TEST_CASE("The same inputs give the same answer") {
  const KeepOrSell a = keep_or_sell(ranges()), b = keep_or_sell(ranges());
  CHECK(a.break_even_price.low == b.break_even_price.low);
  CHECK(a.selling_is_cheaper == b.selling_is_cheaper);
}

}  // namespace packmile::testing
