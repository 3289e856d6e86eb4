#include "energy/huber_fit.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <numeric>
#include <random>

using namespace packmile;
using doctest::Approx;

namespace {

// Stack loss of a plant (Brownlee 1965), as in the documentation of statsmodels
// and R: loss, air flow, water temperature, acid concentration.
constexpr std::array<std::array<double, 4>, 21> kStackLoss{
    {{42, 80, 27, 89}, {37, 80, 27, 88}, {37, 75, 25, 90}, {28, 62, 24, 87}, {18, 62, 22, 87},
     {18, 62, 23, 87}, {19, 62, 24, 93}, {20, 62, 24, 93}, {15, 58, 23, 87}, {14, 58, 18, 80},
     {14, 58, 18, 89}, {13, 58, 17, 88}, {11, 58, 18, 82}, {12, 58, 19, 93}, {8, 50, 18, 89},
     {7, 50, 18, 86},  {8, 50, 19, 72},  {8, 50, 19, 79},  {9, 50, 20, 80},  {15, 56, 20, 82},
     {15, 70, 20, 91}}};

GroupedRows stack_loss() {
  GroupedRows rows;
  rows.terms = 3;
  for (const auto& line : kStackLoss) {
    rows.y.push_back(line[0]);
    rows.x.insert(rows.x.end(), line.begin() + 1, line.end());
    rows.group.push_back(0);
  }
  return rows;
}

std::vector<std::size_t> all_of(const GroupedRows& rows) {
  std::vector<std::size_t> all(rows.size());
  std::iota(all.begin(), all.end(), std::size_t{0});
  return all;
}

}  // namespace

// R1. Source: statsmodels documentation, RLM with HuberT (k = 1.345) and MAD.
TEST_CASE("huber fit: stack loss as published") {
  const GroupedRows rows = stack_loss();
  const auto fit = fit_huber(rows, all_of(rows));
  REQUIRE(fit);
  CHECK(fit->levels[0] == Approx(-41.02649835).scale(0).epsilon(1e-8));
  CHECK(fit->slopes[0] == Approx(0.82938433).scale(0).epsilon(1e-8));
  CHECK(fit->slopes[1] == Approx(0.92606597).scale(0).epsilon(1e-8));
  CHECK(fit->slopes[2] == Approx(-0.12784672).scale(0).epsilon(1e-7));
  CHECK(fit->scale == Approx(2.440536).scale(0).epsilon(1e-6));
}

// R2. Source: Brownlee's least squares fit, as numpy's lstsq gives it.
TEST_CASE("huber fit: least squares of the stack loss") {
  const GroupedRows rows = stack_loss();
  const auto fit = fit_least_squares(rows, all_of(rows));
  REQUIRE(fit);
  CHECK(fit->levels[0] == Approx(-39.919674).scale(0).epsilon(1e-7));
  CHECK(fit->slopes[0] == Approx(0.715640).scale(0).epsilon(1e-6));
  CHECK(fit->slopes[1] == Approx(1.295286).scale(0).epsilon(1e-6));
  CHECK(fit->slopes[2] == Approx(-0.152123).scale(0).epsilon(1e-5));
}

// No source: levels taken out must be the same as a column of ones for each group.
TEST_CASE("huber fit: levels by group are what a column of their own gives") {
  constexpr unsigned kSeed = 11;
  CAPTURE(kSeed);
  std::mt19937_64 random{kSeed};
  const auto uniform = [&] { return static_cast<double>(random() >> 11) * 0x1p-53; };
  GroupedRows levels, column;
  levels.terms = 2;
  levels.groups = 2;
  column.terms = 3;
  for (int i = 0; i < 80; ++i) {
    const double a = 10 * uniform(), b = 3 * uniform(), wild = i % 17 == 0 ? 9 : 0;
    const std::uint32_t group = i % 3 == 0 ? 1 : 0;
    const double y = 2 * a - b + (group == 1 ? 5 : 1) + uniform() + wild;
    levels.y.push_back(y);
    levels.group.push_back(group);
    levels.x.insert(levels.x.end(), {a, b});
    column.y.push_back(y);
    column.group.push_back(0);
    column.x.insert(column.x.end(), {a, b, group == 1 ? 1.0 : 0.0});
  }
  const auto one = fit_huber(levels, all_of(levels));
  const auto two = fit_huber(column, all_of(column));
  REQUIRE(one);
  REQUIRE(two);
  CHECK(one->slopes[0] == Approx(two->slopes[0]).scale(0).epsilon(1e-8));
  CHECK(one->slopes[1] == Approx(two->slopes[1]).scale(0).epsilon(1e-8));
  CHECK(one->levels[0] == Approx(two->levels[0]).scale(0).epsilon(1e-8));
  CHECK(one->levels[1] - one->levels[0] == Approx(two->slopes[2]).scale(0).epsilon(1e-8));
  // The wild rows do not turn it: without them it is nearly the same.
  CHECK(one->slopes[0] == Approx(2).epsilon(0.02));
  CHECK(std::abs(one->slopes[0] - 2) <
        std::abs(fit_least_squares(levels, all_of(levels))->slopes[0] - 2) + 0.05);
  // From another start it ends at the same place.
  const GroupedFit far{{0, 0}, {100, -100}, 1};
  const auto again = fit_huber(levels, all_of(levels), {}, &far);
  REQUIRE(again);
  CHECK(again->slopes[0] == Approx(one->slopes[0]).scale(0).epsilon(1e-7));
}

TEST_CASE("huber fit: rows picked twice count twice") {
  GroupedRows rows;
  rows.terms = 1;
  rows.x = {0, 1, 2, 3};
  rows.y = {0, 1, 2, 9};
  rows.group = {0, 0, 0, 0};
  // By hand: without the last row the line is y = x.
  const std::vector<std::size_t> some{0, 1, 2, 1};
  CHECK(fit_least_squares(rows, some)->slopes[0] == Approx(1));
  const std::vector<std::size_t> twice{0, 1, 2, 3, 3};
  CHECK(fit_least_squares(rows, twice)->slopes[0] >
        fit_least_squares(rows, all_of(rows))->slopes[0]);
}

TEST_CASE("huber fit: what cannot be fitted is refused") {
  GroupedRows rows = stack_loss();
  const auto all = all_of(rows);
  CHECK_FALSE(fit_huber(rows, std::span{all}.first(4)));
  rows.groups = 2;  // the second one has no row
  CHECK_FALSE(fit_huber(rows, all));
  rows.groups = 1;
  for (std::size_t i = 0; i < rows.size(); ++i) rows.x[i * 3 + 2] = 2 * rows.x[i * 3];
  CHECK_FALSE(fit_huber(rows, all));
  CHECK(collinearity_of(rows)->condition > 1e6);
  CHECK(collinearity_of(rows)->worst_term != 1);
  for (std::size_t i = 0; i < rows.size(); ++i) rows.x[i * 3 + 2] = 7;
  CHECK_FALSE(fit_huber(rows, all));
  CHECK_FALSE(collinearity_of(rows));
  rows = stack_loss();
  rows.y[3] = std::nan("");
  CHECK_FALSE(fit_huber(rows, all));
  CHECK_FALSE(fit_huber(GroupedRows{}, {}));
}

// Source: numpy.linalg.cond of the centred columns scaled to one length.
TEST_CASE("huber fit: how far the terms of the stack loss can be told apart") {
  const auto found = collinearity_of(stack_loss());
  REQUIRE(found);
  CHECK(found->condition == Approx(3.209229408).epsilon(1e-8));
}

TEST_CASE("huber fit: rows that lie on a plane have no scale") {
  GroupedRows rows;
  rows.terms = 1;
  for (int i = 0; i < 10; ++i) {
    rows.x.push_back(i);
    rows.y.push_back(3 * i + 1);
    rows.group.push_back(0);
  }
  rows.y[4] += 100;
  const auto fit = fit_huber(rows, all_of(rows));
  REQUIRE(fit);
  CHECK(fit->slopes[0] == Approx(3).epsilon(0.2));
}
