// Lines with errors in both variables against published and outside results.
#include "pack/line_with_errors.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <limits>
#include <random>
#include <string>

namespace packmile::testing {
namespace {

doctest::Approx close_to(double value, double relative) {
  return doctest::Approx(value).scale(0).epsilon(relative);
}

// A made-up set of eight charges: share of the range, Ah.
std::vector<PointWithErrors> eight_charges() {
  constexpr std::array x{.312, .548, .205, .673, .441, .089, .752, .367};
  constexpr std::array y{48.9, 86.1, 31.5, 105.9, 69.6, 14.6, 118.2, 57.4};
  constexpr std::array u_y{.25, .40, .20, .50, .35, .12, .55, .30};
  std::vector<PointWithErrors> points;
  for (std::size_t i = 0; i < x.size(); ++i) points.push_back({x[i], y[i], 0.006, u_y[i]});
  return points;
}

// The quartic of Plett 2011 (recursive approximate weighted total least squares
// without forgetting): a referee of other make.
double referee_capacity(const std::vector<PointWithErrors>& points) {
  double ratio = 0;
  for (const auto& p : points) ratio += p.u_x * p.u_x / (p.u_y * p.u_y);
  const double k = std::sqrt(ratio / double(points.size()));
  double c1 = 0, c2 = 0, c3 = 0, c4 = 0, c5 = 0, c6 = 0;
  for (const auto& p : points) {
    const double y = k * p.y, sy = k * p.u_y;
    c1 += p.x * p.x / (sy * sy);
    c2 += p.x * y / (sy * sy);
    c3 += y * y / (sy * sy);
    c4 += p.x * p.x / (p.u_x * p.u_x);
    c5 += p.x * y / (p.u_x * p.u_x);
    c6 += y * y / (p.u_x * p.u_x);
  }
  CHECK(c1 == close_to(18302.682955, 1e-9));
  CHECK(c4 == close_to(49866.583333, 1e-9));
  CHECK(c6 == close_to(794006.375182, 1e-9));
  const auto quartic = [&](double q) {
    return c5 * std::pow(q, 4) + (2 * c4 - c1 - c6) * std::pow(q, 3) + (3 * c2 - 3 * c5) * q * q +
           (c1 - 2 * c3 + c6) * q - c2;
  };
  double q = k * 157;
  for (int i = 0; i < 100; ++i) {
    const double h = 1e-6 * q;
    q -= quartic(q) * 2 * h / (quartic(q + h) - quartic(q - h));
  }
  return q / k;
}

}  // namespace

// Source: Pearson's data with York's weights (York 1966), solution as published
// (York et al. 2004; 14 digits in the test of an open-source package).
TEST_CASE("line with errors: Pearson's data with York's weights") {
  constexpr std::array x{0.0, .9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4};
  constexpr std::array y{5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5};
  constexpr std::array wx{1000.0, 1000., 500., 800., 200., 80., 60., 20., 1.8, 1.};
  constexpr std::array wy{1.0, 1.8, 4., 8., 20., 20., 70., 70., 100., 500.};
  std::vector<PointWithErrors> points;
  for (std::size_t i = 0; i < x.size(); ++i) {
    points.push_back({x[i], y[i], 1 / std::sqrt(wx[i]), 1 / std::sqrt(wy[i])});
  }
  const auto line = fit_line_with_errors(points);
  REQUIRE(line);
  CHECK(line->intercept == close_to(5.47991022403286, 1e-12));
  CHECK(line->slope == close_to(-0.48053340744620, 1e-12));
  CHECK(line->chi2 == close_to(11.8663531941, 1e-10));
  CHECK(line->widening() == close_to(1.217905640539, 1e-10));
  CHECK(line->u_intercept == close_to(0.294970735, 1e-8));
  CHECK(line->u_slope == close_to(0.057985009, 1e-8));
  CHECK(line->u_intercept * line->widening() == close_to(0.359246523, 1e-8));
  CHECK(line->u_slope * line->widening() == close_to(0.070620270, 1e-8));
}

// Source: scipy 1.10.1, odr.ODR(RealData(x, y, u_x, u_y), lambda B, t: B[0] * t).
TEST_CASE("proportion: eight charges as an outside library has them") {
  const auto fit = fit_proportion(eight_charges());
  REQUIRE(fit);
  CHECK(std::abs(fit->slope - 157.137901) < 1e-6);
  CHECK(fit->chi2 == close_to(1.167280, 1e-6));
  CHECK(fit->u_slope_told == close_to(0.779799, 1e-3));
  // They scatter less than they are said to: no widening.
  CHECK(fit->u_slope == fit->u_slope_told);
  CHECK(fit->factor_95() == close_to(1.959964, 1e-6));
  CHECK(fit->degrees == 7);
  CHECK(fit->n_used == 8);
}

TEST_CASE("proportion: the referee is near, least squares and the ratio of sums as known") {
  const auto points = eight_charges();
  CHECK(std::abs(referee_capacity(points) - 157.152658) < 1e-6);
  double xx = 0, xy = 0, sx = 0, sy = 0;
  for (const auto& p : points) {
    xx += p.x * p.x;
    xy += p.x * p.y;
    sx += p.x;
    sy += p.y;
  }
  // numpy 1.24.2; and with certain x and equal u_y the fit is least squares.
  CHECK(std::abs(xy / xx - 157.148770) < 1e-6);
  CHECK(std::abs(sy / sx - 157.130204) < 1e-6);
  auto certain = points;
  for (auto& p : certain) p.u_x = 0, p.u_y = 1;
  CHECK(fit_proportion(certain)->slope == close_to(xy / xx, 1e-12));
}

TEST_CASE("proportion: units do not matter") {
  auto points = eight_charges();
  const auto fit = fit_proportion(points);
  for (auto& p : points) p.x *= 100, p.u_x *= 100;
  const auto percent = fit_proportion(points);
  CHECK(percent->slope * 100 == close_to(fit->slope, 1e-12));
  CHECK(percent->u_slope * 100 == close_to(fit->u_slope, 1e-12));
  CHECK(percent->chi2 == close_to(fit->chi2, 1e-10));
}

TEST_CASE("proportion: points that scatter more than told widen it, by Student's t") {
  auto points = eight_charges();
  for (std::size_t i = 0; i < points.size(); ++i) points[i].y += i % 2 == 0 ? 3 : -3;
  const auto fit = fit_proportion(points);
  REQUIRE(fit);
  CHECK(fit->u_slope == close_to(fit->u_slope_told * std::sqrt(fit->chi2 / 7), 1e-12));
  // t of 7 degrees: 2.364624, tables.
  CHECK(fit->factor_95() == close_to(2.364624, 1e-6));
}

TEST_CASE("proportion: a wild charge is left out and named") {
  auto points = eight_charges();
  points[3].y = 40;  // 105.9 was right
  const auto kept = fit_proportion(points);
  const auto rejected = fit_proportion(points, Outliers::rejected);
  REQUIRE(rejected);
  CHECK(std::abs(kept->slope - 157.14) > 5);
  CHECK(std::abs(rejected->slope - 157.14) < 1);
  CHECK(rejected->n_used == 7);
  for (std::size_t i = 0; i < 8; ++i) CHECK(rejected->used[i] == (i != 3));
}

TEST_CASE("proportion: refuses what gives no proportion") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  CHECK_FALSE(fit_proportion({}));
  CHECK_FALSE(fit_proportion(std::vector<PointWithErrors>{{1, nan, 1, 1}}));
  CHECK_FALSE(fit_proportion(std::vector<PointWithErrors>{{1, 1, 0, 0}}));
  CHECK_FALSE(fit_proportion(std::vector<PointWithErrors>{{1, -1, 0.1, 0.1}}));
  CHECK_FALSE(fit_proportion(std::vector<PointWithErrors>{{0, 0, 0.1, 0.1}}));
  CHECK_FALSE(fit_line_with_errors(std::vector<PointWithErrors>{{1, 1, 1, 1}, {2, 2, 1, 1}}));
  const auto one = fit_proportion(std::vector<PointWithErrors>{{0.5, 75, 0.01, 0.1}});
  REQUIRE(one);
  CHECK(one->slope == close_to(150, 1e-9));
  CHECK(one->degrees == 0);
  // 0.01 of 0.5 is 2 %, 0.1 of 75 is 0.13 %.
  CHECK(one->u_slope == close_to(150 * std::hypot(0.02, 0.1 / 75), 2e-3));
}

// The interval must hold the truth in 95 % of sets, whether the points scatter
// as told or twice as much, and the estimate must not lean.
TEST_CASE("proportion: coverage and lean over seeded sets of charges") {
  struct Case {
    const char* name;
    double told;  // of x, 1 sd
    double real;  // of x, 1 sd
    double wild;  // share of charges with 10 times the error
    Outliers outliers;
  };
  for (const Case& c : {Case{"as told", 0.0141, 0.0141, 0, Outliers::kept},
                        Case{"as told, robust", 0.0141, 0.0141, 0, Outliers::rejected},
                        Case{"twice as told", 0.0071, 0.0141, 0, Outliers::kept},
                        Case{"twice as told, robust", 0.0071, 0.0141, 0, Outliers::rejected},
                        Case{"wild ones", 0.0141, 0.0141, 0.08, Outliers::rejected}}) {
    std::mt19937 random{7};  // seed 7
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> uniform;
    constexpr int kRounds = 2000;
    int inside = 0;
    double sum = 0;
    for (int round = 0; round < kRounds; ++round) {
      std::vector<PointWithErrors> points;
      for (int i = 0; i < 25; ++i) {
        const double x = 0.3 + 0.5 * uniform(random);
        const double error = c.real * normal(random) * (uniform(random) < c.wild ? 10 : 1);
        points.push_back({x + error, 150 * x + 0.3 * normal(random), c.told, 0.3});
      }
      const auto fit = fit_proportion(points, c.outliers);
      REQUIRE(fit);
      inside += std::abs(fit->slope - 150) < fit->factor_95() * fit->u_slope;
      sum += fit->slope;
    }
    std::printf("proportion, seed 7, %-22s covers %.3f, leans %+.3f %%\n", c.name,
                double(inside) / kRounds, 100 * (sum / kRounds / 150 - 1));
    CAPTURE(std::string(c.name));
    CHECK(double(inside) / kRounds > 0.93);  // 0.95 less 4 sd of 2,000 rounds
    CHECK(double(inside) / kRounds < 0.975);
    CHECK(std::abs(sum / kRounds / 150 - 1) < 0.0005);
  }
}

}  // namespace packmile::testing
