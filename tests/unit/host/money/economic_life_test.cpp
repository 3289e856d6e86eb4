// Equivalent annual cost against worked examples of a textbook.
#include "money/economic_life.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

namespace packmile::testing {
namespace {

void check_rounded(const std::vector<double>& values, const std::vector<double>& wanted) {
  REQUIRE(values.size() == wanted.size());
  for (std::size_t k = 0; k < wanted.size(); ++k) CHECK(std::abs(values[k] - wanted[k]) <= 1);
}

}  // namespace

// Newnan et al., Engineering Economic Analysis, ch. 13 (13-2, 13-4): least equivalent
// annual cost 15,430 at year 5, by factor tables. The inputs are from memory; they
// make the published numbers.
TEST_CASE("A new machine of 25,000 is best kept five years") {
  const std::vector<double> resale{18000, 13000, 9000, 6000, 4000, 3000, 2500};
  const std::vector<double> cost{7000, 7500, 8000, 10'000, 12'000, 14'000, 16'000};
  const auto marginal = marginal_costs(25'000, {resale, cost}, 0.15);
  REQUIRE(marginal);
  check_rounded(*marginal, {17'750, 15'200, 13'950, 14'350, 14'900, 15'600, 16'950});
  const auto annual = equivalent_annual_costs(25'000, {resale, cost}, 0.15);
  check_rounded(*annual, {17'750, 16'564, 15'811, 15'519, 15'427, 15'447, 15'582});
  const auto life = economic_life(25'000, {resale, cost}, 0.15);
  CHECK(life->years == 5);
  CHECK(std::abs(life->annual_cost - 15'430) < 5);
}

// The same book: an owned machine worth 15,000 costs 13,250, 14,600, 15,950 in its
// next years: kept for two, replaced in the third (15,950 > 15,430).
TEST_CASE("An owned machine is kept while a further year costs less than the challenger") {
  const std::vector<double> resale{14'000, 13'000, 12'000}, cost{10'000, 11'500, 13'000};
  check_rounded(*marginal_costs(15'000, {resale, cost}, 0.15), {13'250, 14'600, 15'950});
}

// The same book, 13th edition, problem 13-10: 17,240 at four years.
TEST_CASE("A first cost of 50,000 that loses a fifth a year is best kept four years") {
  std::vector<double> resale, cost;
  for (int n = 1; n <= 10; ++n) {
    resale.push_back(50'000 * std::pow(0.8, n));
    cost.push_back(3'500 + 2'000 * (n - 1));
  }
  const auto annual = equivalent_annual_costs(50'000, {resale, cost}, 0.09);
  check_rounded({annual->begin(), annual->begin() + 5}, {18'000, 17'569, 17'329, 17'240, 17'273});
  CHECK(economic_life(50'000, {resale, cost}, 0.09)->years == 4);
}

// Interest tables: (A/P, 9 %, 4), (P/A, 10 %, 5).
TEST_CASE("Interest factors") {
  CHECK(capital_recovery(0.09, 4) == doctest::Approx(0.308669).epsilon(2e-6));
  CHECK(1 / capital_recovery(0.10, 5) == doctest::Approx(3.790787).epsilon(1e-6));
  CHECK(capital_recovery(0, 4) == 0.25);
  CHECK(capital_recovery(1e-12, 4) == doctest::Approx(0.25).epsilon(1e-9));
  double worth = -1000;
  for (int year = 1; year <= 3; ++year) worth += 500 * present_worth(0.10, year);
  CHECK(worth == doctest::Approx(243.426).epsilon(1e-6));
}

// By Python of the formula: 0.317660 at 7 %, 0.265 without interest.
TEST_CASE("A levelised cost per mile") {
  const std::vector<double> miles(4, 30'000), cost(4, 0.06 * 30'000 + 900);
  CHECK(*levelised_cost_per_mile(30'000, 9'000, cost, miles, 0.07) ==
        doctest::Approx(0.317660).epsilon(1e-6));
  CHECK(*levelised_cost_per_mile(30'000, 9'000, cost, miles, 0) == doctest::Approx(0.265));
}

// By Python of the formula, with the owned machine above: keep below 16,895.65.
TEST_CASE("The break-even price of one more year") {
  CHECK(break_even_price(15'430, 14'000, 10'000, 0.15) == doctest::Approx(16'895.65).epsilon(1e-6));
  const std::vector<double> resale{14'000, 13'000, 12'000}, cost{10'000, 11'500, 13'000};
  const auto best = break_even_price_over(15'430, {resale, cost}, 0.15);
  REQUIRE(best);
  // Two years are better than one; the third costs more than the challenger.
  CHECK(*best > 16'895);
  CHECK(*best == doctest::Approx(*break_even_price_over(
                     15'430, {std::span{resale}.first(2), std::span{cost}.first(2)}, 0.15)));
}

TEST_CASE("What cannot be reckoned is refused") {
  const std::vector<double> one{1}, two{1, 2}, none, bad{std::nan("")};
  CHECK_FALSE(economic_life(1, {none, none}, 0.1));
  CHECK_FALSE(economic_life(1, {one, two}, 0.1));
  CHECK_FALSE(economic_life(1, {bad, one}, 0.1));
  CHECK_FALSE(economic_life(1, {one, one}, -1));
  CHECK_FALSE(marginal_costs(std::nan(""), {one, one}, 0.1));
  CHECK_FALSE(levelised_cost_per_mile(1, 0, one, std::vector<double>{0}, 0.1));
  CHECK_FALSE(break_even_price_over(1, {none, none}, 0.1));
}

}  // namespace packmile::testing
