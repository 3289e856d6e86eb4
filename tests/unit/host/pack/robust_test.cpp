// Lines and their intervals against published and outside results.
#include "pack/robust.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <limits>
#include <random>
#include <sstream>
#include <string>

#include "host/reading/measured_data.hpp"
#include "host/reading/replay.hpp"
#include "pack/student_t.hpp"

namespace packmile::testing {
namespace {

// NIST StRD, linear regression, Norris: 36 points.
constexpr std::array kNorrisX{0.2,   337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6,
                              777.0, 558.2, 0.4,   0.6,   775.5, 666.9, 338.0, 447.5, 11.6,
                              556.0, 228.1, 995.8, 887.6, 120.2, 0.3,   0.3,   556.8, 339.1,
                              887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5};
constexpr std::array kNorrisY{0.1,   338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1,
                              778.9, 559.2, 0.3,   0.1,   778.1, 668.8, 339.3, 448.9, 10.8,
                              557.7, 228.3, 998.0, 888.8, 119.6, 0.3,   0.6,   557.6, 339.3,
                              888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2};

// A made-up year of monthly capacities, kWh.
constexpr std::array kYear{61.9, 62.1, 61.6, 61.7, 61.2, 61.4, 60.2, 61.1, 60.9, 60.6, 60.7, 60.3};

std::vector<double> counting(std::size_t n) {
  std::vector<double> x(n);
  for (std::size_t i = 0; i < n; ++i) x[i] = static_cast<double>(i);
  return x;
}

doctest::Approx near(double value, double relative) {
  return doctest::Approx(value).scale(0).epsilon(relative);
}

// Cells of one line of a data file, the first line left out.
std::vector<std::vector<std::string>> read_cells(const std::string& file) {
  std::ifstream in(data_folder() + "/" + file);
  std::vector<std::vector<std::string>> rows;
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    std::istringstream cells(line);
    rows.emplace_back();
    for (std::string cell; std::getline(cells, cell, ',');) rows.back().push_back(cell);
  }
  return rows;
}

}  // namespace

// One and two degrees have closed forms: tan(pi (p - 1/2)) and
// (2 p - 1) / sqrt(2 p (1 - p)). The others: scipy 1.10.1, stats.t.ppf(p, d), which
// is itself good to about 4e-11.
TEST_CASE("student t: quantiles are those of closed forms and an outside library") {
  CHECK(student_t_quantile(0.975, 1) == near(std::tan(0.475 * std::acos(-1.0)), 1e-12));
  CHECK(student_t_quantile(0.975, 2) == near(0.95 / std::sqrt(2 * 0.975 * 0.025), 1e-12));
  CHECK(student_t_95(10) == near(2.2281388519649385, 1e-10));
  CHECK(student_t_quantile(0.8, 10) == near(0.8790578285505841, 1e-10));
  CHECK(student_t_95(34) == near(2.032244509317718, 1e-10));
  CHECK(student_t_95(1e6) == near(1.9599663568141066, 1e-9));
  CHECK(std::isinf(student_t_95(0)));
}

TEST_CASE("median: odd, even, one, none") {
  CHECK(median_of({3, 1, 2}) == 2);
  CHECK(median_of({4, 1, 3, 2}) == 2.5);
  CHECK(median_of({7}) == 7);
  CHECK(median_of({}) == 0);
}

TEST_CASE("robust sd: a tenth of wild points does not widen it much") {
  std::mt19937 random{11};  // seed 11
  std::normal_distribution<double> noise{5, 2};
  std::vector<double> values(4001);
  for (double& v : values) v = noise(random);
  CHECK(robust_sd(values) == doctest::Approx(2).epsilon(0.05));
  for (std::size_t i = 0; i < 400; ++i) values[i * 10] = 1e6;
  CHECK(robust_sd(values) == doctest::Approx(2).epsilon(0.25));
}

// Source: certified values of NIST StRD Norris; the last digits of the standard
// errors from memory of the same page, which scipy's agree with.
TEST_CASE("line: NIST Norris by least squares") {
  const auto fit = fit_line(kNorrisX, kNorrisY);
  REQUIRE(fit);
  CHECK(fit->slope == near(1.00211681802045, 1e-12));
  CHECK(fit->intercept == near(-0.262323073774029, 1e-10));
  CHECK(fit->u_slope == near(0.429796848199937e-3, 1e-10));
  CHECK(fit->u_intercept == near(0.232818234301152, 1e-10));
  CHECK(fit->residual_sd == near(0.884796396144373, 1e-10));
  CHECK(fit->r_squared == near(0.999993745883712, 1e-12));
  // numpy 1.24.2 and scipy 1.10.1: t.ppf(.975, 34)*s*sqrt(1 + 1/n + (x0-mean)^2/sxx).
  CHECK(std::abs(fit->at(500) - 500.796086) < 1e-5);
  CHECK(std::abs(fit->prediction_half(500) - 1.824292) < 1e-5);
}

TEST_CASE("line: equal weights change nothing, a weight of two is a point twice") {
  const std::vector<double> x{0, 1, 2, 3}, y{1, 2.5, 2.2, 4.1};
  const std::vector<double> equal(4, 7.0), twice{1, 2, 1, 1};
  const std::vector<double> xx{0, 1, 1, 2, 3}, yy{1, 2.5, 2.5, 2.2, 4.1};
  const auto plain = fit_line(x, y), same = fit_line(x, y, equal);
  CHECK(same->slope == near(plain->slope, 1e-13));
  CHECK(same->u_slope == near(plain->u_slope, 1e-13));
  const auto weighted = fit_line(x, y, twice), doubled = fit_line(xx, yy);
  CHECK(weighted->slope == near(doubled->slope, 1e-13));
  CHECK(weighted->intercept == near(doubled->intercept, 1e-13));
  CHECK(weighted->at(1.5) == near(doubled->at(1.5), 1e-13));
}

// Source: certified values of NIST StRD NoInt1.
TEST_CASE("line: NIST NoInt1 through the origin") {
  std::vector<double> x, y;
  for (int i = 0; i <= 10; ++i) {
    x.push_back(60 + i);
    y.push_back(130 + i);
  }
  const auto fit = fit_line_through_zero(x, y);
  REQUIRE(fit);
  CHECK(fit->slope == near(2.07438016528926, 1e-12));
  CHECK(fit->u_slope == near(0.0165289256198347, 1e-12));
  CHECK(fit->residual_sd == near(3.56753034006338, 1e-12));
  CHECK(fit->u_at(0) == 0);
  CHECK(fit->u_at(100) == near(1.65289256198347, 1e-12));
}

// Source: scipy 1.10.1, stats.theilslopes(y, x, 0.95).
TEST_CASE("theil-sen: Norris as an outside library has it") {
  const auto fit = fit_theil_sen(kNorrisX, kNorrisY);
  REQUIRE(fit);
  CHECK(fit->slope == near(1.0021968366, 1e-9));
  CHECK(std::abs(fit->intercept + 0.0640158172) < 1e-9);
  CHECK(fit->low == near(1.0011153246, 1e-9));
  CHECK(fit->high == near(1.0030534351, 1e-9));
}

// Source: scipy 1.10.1, theilslopes, linregress and kendalltau of the same series.
TEST_CASE("theil-sen: a year of months") {
  const auto x = counting(kYear.size());
  const auto fit = fit_theil_sen(x, kYear);
  REQUIRE(fit);
  CHECK(std::abs(fit->slope + 0.15) < 1e-9);
  CHECK(std::abs(fit->intercept - 61.975) < 1e-9);
  CHECK(std::abs(fit->low + 0.1875) < 1e-9);
  CHECK(std::abs(fit->high + 0.11428571) < 1e-8);
  const auto line = fit_line(x, kYear);
  CHECK(std::abs(line->slope + 0.14930070) < 1e-8);
  CHECK(std::abs(line->intercept - 61.96282051) < 1e-8);
  CHECK(std::abs(line->u_slope - 0.02698869) < 1e-8);
  const auto kendall = kendall_of(x, kYear);
  REQUIRE(kendall);
  CHECK(kendall->tau == near(-0.7272727272727272, 1e-12));
  CHECK(kendall->probability == near(0.0004988835110362888, 1e-10));
}

// Source: scipy 1.10.1, kendalltau; the first pair stands in its documentation.
TEST_CASE("kendall: ties, and more points than the exact rule takes") {
  const auto tied =
      kendall_of(std::array<double, 5>{12, 2, 1, 12, 2}, std::array<double, 5>{1, 4, 7, 1, 0});
  REQUIRE(tied);
  CHECK(tied->tau == near(-0.4714045207910316, 1e-12));
  CHECK(tied->probability == near(0.28274545993277467, 1e-10));
  std::vector<double> y;
  for (int m = 0; m < 40; ++m) y.push_back(m * m * 7 % 83 + m);
  const auto many = kendall_of(counting(40), y);
  REQUIRE(many);
  CHECK(many->tau == near(0.43444873629388536, 1e-12));
  CHECK(many->probability == near(8.178126940117557e-05, 1e-10));
  std::vector<double> wave;
  for (int m = 0; m < 40; ++m) wave.push_back(std::sin(m * 1.7) + m * 0.03);
  const auto untied = kendall_of(counting(40), wave);
  REQUIRE(untied);
  CHECK(untied->tau == near(0.2948717948717949, 1e-12));
  CHECK(untied->probability == near(0.007367981559899905, 1e-10));
}

TEST_CASE("theil-sen: wild points do not turn it") {
  auto x = counting(24);
  std::vector<double> y;
  for (const double m : x) y.push_back(60 - 0.1 * m + 0.05 * std::sin(m * 2.4));
  y[3] = 10;
  y[17] = 400;
  const auto fit = fit_theil_sen(x, y);
  REQUIRE(fit);
  CHECK(fit->slope == doctest::Approx(-0.1).epsilon(0.05));
  CHECK(fit->low <= -0.1);
  CHECK(fit->high >= -0.1);
  CHECK(std::abs(fit_line(x, y)->slope + 0.1) > 1);
}

TEST_CASE("theil-sen and line: refuse what gives no line") {
  const std::vector<double> none, one{1}, same{2, 2, 2}, three{1, 2, 3}, two{1, 2};
  const std::vector<double> hole{1, std::numeric_limits<double>::quiet_NaN(), 3};
  CHECK_FALSE(fit_theil_sen(none, none));
  CHECK_FALSE(fit_theil_sen(one, one));
  CHECK_FALSE(fit_theil_sen(same, three));
  CHECK_FALSE(fit_theil_sen(three, two));
  CHECK_FALSE(fit_theil_sen(three, hole));
  CHECK_FALSE(fit_line(two, two));
  CHECK_FALSE(fit_line(same, three));
  CHECK_FALSE(fit_line(hole, three));
  CHECK_FALSE(fit_line(three, three, two));
  CHECK_FALSE(fit_line(three, three, std::vector<double>{1, 0, 1}));
  CHECK_FALSE(kendall_of(same, three));
  CHECK_FALSE(smallest_detectable_slope(two, 1));
  CHECK_FALSE(smallest_detectable_slope(same, 1));
  const std::vector<double> many(kMostPoints + 1, 1.0);
  CHECK_FALSE(fit_theil_sen(many, many));
  const auto flat = fit_theil_sen(three, same);
  REQUIRE(flat);
  CHECK(flat->slope == 0);
}

// Source: scipy 1.10.1, optimize.brentq on the border of the mean-line band.
TEST_CASE("crossing: the year's line reaches 51.2 kWh") {
  const auto line = fit_line(counting(kYear.size()), kYear);
  const auto crossing = find_crossing(*line, 51.2, 0, 11);
  REQUIRE(crossing);
  CHECK(std::abs(crossing->at - 72.088) < 1e-3);
  REQUIRE(crossing->low);
  REQUIRE(crossing->high);
  CHECK(std::abs(*crossing->low - 52.933) < 1e-3);
  CHECK(std::abs(*crossing->high - 117.032) < 1e-3);
  CHECK(std::abs(crossing->g - 0.16223) < 1e-5);
  CHECK(crossing->beyond);
  // A slope as uncertain as this bounds nothing.
  const auto wide = find_crossing(*line, 51.2, 0, 11, 2.5);
  REQUIRE(wide);
  CHECK(wide->g > 1);
  CHECK_FALSE(wide->low);
  CHECK_FALSE(wide->high);
  // Upwards it never gets there.
  CHECK_FALSE(find_crossing(*line, 70, 0, 11));
}

// The band's border is at the limit where the interval ends, whichever way the
// line runs.
TEST_CASE("crossing: the ends are where the band meets the limit") {
  const std::vector<double> x{0, 1, 2, 3, 4, 5, 6, 7}, up{1, 1.9, 3.2, 3.9, 5.1, 6, 6.8, 8.1};
  const auto line = fit_line(x, up);
  const auto crossing = find_crossing(*line, 15, 0, 7);
  REQUIRE(crossing);
  REQUIRE(crossing->low);
  const double t = student_t_95(line->degrees);
  CHECK(line->at(*crossing->low) + t * line->u_at(*crossing->low) == near(15, 1e-9));
  CHECK(line->at(*crossing->high) - t * line->u_at(*crossing->high) == near(15, 1e-9));
  CHECK(*crossing->low < crossing->at);
  CHECK(*crossing->high > crossing->at);
  CHECK_FALSE(crossing->beyond);
}

// Source: numpy 1.24.2 and scipy 1.10.1; rounded as in the table of the method.
TEST_CASE("smallest detectable slope: points a year from monthly points") {
  struct Row {
    std::size_t months;
    double sd;
    double points_a_year;
    double tolerance;
  };
  for (const Row& row :
       {Row{3, 0.3, 36, 0.5}, Row{3, 2.0, 239, 0.5}, Row{6, 0.5, 5.3, 0.05},
        Row{6, 1.0, 10.7, 0.05}, Row{12, 0.3, 0.94, 0.005}, Row{12, 0.5, 1.56, 0.005},
        Row{18, 0.5, 0.81, 0.005}, Row{24, 0.5, 0.52, 0.005}, Row{24, 1.0, 1.04, 0.005},
        Row{36, 0.3, 0.17, 0.005}, Row{36, 2.0, 1.1, 0.05}}) {
    CAPTURE(row.months);
    CAPTURE(row.sd);
    const auto slope = smallest_detectable_slope(counting(row.months), row.sd);
    REQUIRE(slope);
    CHECK(std::abs(*slope * 12 - row.points_a_year) <= row.tolerance);
  }
}

TEST_CASE("persistence: independent residuals widen little, a slow wave much") {
  std::vector<double> wave, alternating;
  for (int i = 0; i < 48; ++i) {
    wave.push_back(std::sin(i * 0.3));
    alternating.push_back(i % 2 == 0 ? 1.0 : -1.0);
  }
  // lag-1 of the wave is near cos 0.3 = 0.955; clipped to 0.9: sqrt(1.9/0.1).
  CHECK(persistence_of(wave).lag_1 == 0.9);
  CHECK(persistence_of(wave).widening == near(4.358898943540674, 1e-12));
  CHECK(persistence_of(alternating).widening == 1);
  CHECK(persistence_of({}).widening == 1);
  CHECK(persistence_of(std::vector<double>(5, 0.0)).widening == 1);
  // By hand: products 2 + 0 + 0 - 1 = 1, squares 1 + 4 + 0 + 1 + 1 = 7.
  const std::vector<double> five{1, 2, 0, 1, -1};
  CHECK(persistence_of(five).lag_1 == near(1.0 / 7 + (1 + 4.0 / 7) / 5, 1e-12));
}

// Source: scipy 1.10.1, stats.theilslopes(soh, mileage_km, 0.95) and kendalltau.
TEST_CASE("theil-sen: health against mileage of a published fleet") {
  if (skip_without_data()) return;
  std::vector<double> mileage_km, soh;
  for (const auto& row : read_cells("fleet-soh-by-mileage.csv")) {
    mileage_km.push_back(std::stod(row.at(0)));
    soh.push_back(std::stod(row.at(1)));
  }
  REQUIRE(soh.size() == 2610);
  const auto fit = fit_theil_sen(mileage_km, soh);
  REQUIRE(fit);
  CHECK(fit->slope == near(-1.92672080221e-07, 1e-6));
  CHECK(fit->intercept == near(0.903912797882, 1e-6));
  CHECK(fit->low == near(-2.18643222229e-07, 1e-6));
  CHECK(fit->high == near(-1.66991500045e-07, 1e-6));
  const auto kendall = kendall_of(mileage_km, soh);
  REQUIRE(kendall);
  CHECK(kendall->tau == near(-0.1860136689030339, 1e-9));
  CHECK(kendall->probability == near(4.891903227062228e-46, 1e-6));
}

// Source: scipy 1.10.1, stats.theilslopes(capacity, index 0..167, 0.95).
TEST_CASE("theil-sen: fade of two measured cells") {
  if (skip_without_data()) return;
  std::map<std::string, std::vector<double>> cell_ah;
  for (const auto& row : read_cells("fade-cells.csv")) {
    cell_ah[row.at(0)].push_back(std::stod(row.at(4)));
  }
  const std::map<std::string, std::array<double, 3>> expected{
      {"B0005", {-0.003835689902, -0.00395668998, -0.003735247354}},
      {"B0007", {-0.003227885936, -0.003313349929, -0.003140654851}}};
  REQUIRE(cell_ah.size() == 2);
  for (const auto& [cell, ah] : cell_ah) {
    CAPTURE(cell);
    REQUIRE(ah.size() == 168);
    const auto fit = fit_theil_sen(counting(168), ah);
    REQUIRE(fit);
    CHECK(fit->slope == near(expected.at(cell)[0], 1e-6));
    CHECK(fit->low == near(expected.at(cell)[1], 1e-6));
    CHECK(fit->high == near(expected.at(cell)[2], 1e-6));
  }
}

// A year's line with noise that lasts: the plain interval covers about three
// quarters, the widened one nearly nine tenths (simulated elsewhere: 0.74, 0.82
// at 12 months; 0.67, 0.87 at 24).
TEST_CASE("persistence: the widened interval covers more of the truth") {
  std::mt19937 random{2024};  // seed 2024
  std::normal_distribution<double> noise{0, 0.5};
  int plain = 0, widened = 0;
  constexpr int kRounds = 2000;
  const auto x = counting(24);
  for (int round = 0; round < kRounds; ++round) {
    std::vector<double> y, residuals;
    double e = noise(random);
    for (const double m : x) {
      y.push_back(-0.15 * m + e);
      e = 0.6 * e + 0.8 * noise(random);
    }
    const auto line = fit_line(x, y);
    for (std::size_t i = 0; i < x.size(); ++i) residuals.push_back(y[i] - line->at(x[i]));
    const double half = student_t_95(line->degrees) * line->u_slope;
    const double miss = std::abs(line->slope + 0.15);
    plain += miss < half;
    widened += miss < half * persistence_of(residuals).widening;
  }
  std::printf("persistence, seed 2024: plain %.3f widened %.3f\n", double(plain) / kRounds,
              double(widened) / kRounds);
  CHECK(std::abs(double(plain) / kRounds - 0.67) < 0.05);
  CHECK(std::abs(double(widened) / kRounds - 0.87) < 0.04);
}

}  // namespace packmile::testing
