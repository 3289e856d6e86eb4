#include "energy/session.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

constexpr Figure exactly(double value) { return {value, value, value, 0}; }

std::vector<double> minutes(double kw, std::size_t n) { return std::vector<double>(n, kw); }

}  // namespace

// G2. Formula by numpy; a motoring club measured 6.3-9.7 % on four cars.
TEST_CASE("session: grid energy of an 11 kW charge") {
  const MaybeFigure grid = grid_energy_kwh(ChargeKind::ac, exactly(50), 5);
  REQUIRE(grid.figure);
  CHECK(grid.figure->value == doctest::Approx(55.135).scale(0).epsilon(1e-4));
  CHECK((grid.figure->high - grid.figure->value) / kZ95 ==
        doctest::Approx(0.915).scale(0).epsilon(0.01));
  CHECK(grid.figure->low == doctest::Approx(53.34).scale(0).epsilon(1e-3));
  CHECK(grid.figure->high == doctest::Approx(56.93).scale(0).epsilon(1e-3));
  CHECK(100 * (1 - 50 / grid.figure->value) == doctest::Approx(9.31).scale(0).epsilon(1e-3));
}

// G3. Formula by numpy; measured 12.7-24.2 %.
TEST_CASE("session: grid energy of a 2.3 kW charge") {
  const MaybeFigure grid = grid_energy_kwh(ChargeKind::ac, exactly(19.3), 10);
  REQUIRE(grid.figure);
  CHECK(grid.figure->value == doctest::Approx(23.027).scale(0).epsilon(1e-4));
  CHECK((grid.figure->high - grid.figure->value) / kZ95 ==
        doctest::Approx(0.720).scale(0).epsilon(0.01));
  CHECK(100 * (1 - 19.3 / grid.figure->value) == doctest::Approx(16.19).scale(0).epsilon(1e-3));
}

// One measured charge: post 5.447 kWh, pack 5.348 kWh in 0.34 h.
TEST_CASE("session: grid energy at a DC post") {
  const MaybeFigure grid = grid_energy_kwh(ChargeKind::dc, exactly(5.348), 0.34);
  REQUIRE(grid.figure);
  // (5.348 + 0.3 * 0.34) / 0.9925 by hand; 1 sd 0.046.
  CHECK(grid.figure->value == doctest::Approx(5.491).scale(0).epsilon(1e-4));
  CHECK((grid.figure->high - grid.figure->value) / kZ95 ==
        doctest::Approx(0.0463).scale(0).epsilon(0.01));
  CHECK(grid.figure->low < 5.447);
  CHECK(grid.figure->high > 5.447);
  CHECK_FALSE(grid_energy_kwh(ChargeKind::unknown, exactly(5), 1).figure);
  CHECK_FALSE(grid_energy_kwh(ChargeKind::unknown, exactly(5), 1).why.empty());
}

// A post cannot give less than what arrives: whatever is in the range of cable and
// contacts and of the van's own use lies inside, and no more than the ends of both.
TEST_CASE("session: at a DC post the middle of the loss is the middle of what it can be") {
  const double hours = 0.5;
  const double least = (20 + 0.1 * hours) / 1.0;
  const double most = (20 + 0.5 * hours) / 0.985;
  const MaybeFigure grid = grid_energy_kwh(ChargeKind::dc, exactly(20), hours);
  REQUIRE(grid.figure);
  CHECK(grid.figure->value == doctest::Approx((least + most) / 2).scale(0).epsilon(5e-4));
  CHECK(grid.figure->low > least - 0.01);
  CHECK(grid.figure->high < most + 0.01);
}

TEST_CASE("session: the pack's own interval passes through to the grid") {
  const Figure pack = figure_of(50, 0.4, 0);
  const MaybeFigure grid = grid_energy_kwh(ChargeKind::ac, pack, 5);
  CHECK(grid.figure->scatter / kZ95 == doctest::Approx(0.4 / 0.925).scale(0).epsilon(1e-9));
}

TEST_CASE("session: ac or dc by the on-board rating") {
  CHECK(charge_kind(minutes(10.2, 60), 10.3, 11) == ChargeKind::ac);
  CHECK(charge_kind(minutes(6.8, 60), 6.9, 7.4) == ChargeKind::ac);
  CHECK(charge_kind(minutes(18, 20), 18.1, 11) == ChargeKind::dc);
  // Between the rating and a tenth above it nobody can tell.
  CHECK(charge_kind(minutes(11.5, 60), 11.6, 11) == ChargeKind::unknown);
  // Too short for a plateau, or no plateau at all.
  CHECK(charge_kind(minutes(6.8, 9), 6.9, 7.4) == ChargeKind::unknown);
  std::vector<double> wild;
  for (int i = 0; i < 60; ++i) wild.push_back(i % 2 == 0 ? 4 : 6);
  CHECK(charge_kind(wild, 6, 7.4) == ChargeKind::unknown);
  // A taper at the end does not hide the plateau.
  std::vector<double> taper = minutes(6.8, 30);
  for (int i = 0; i < 60; ++i) taper.push_back(6.8 * std::exp(-i / 20.0));
  CHECK(charge_kind(taper, 6.9, 7.4) == ChargeKind::ac);
}

TEST_CASE("session: without a rating only more than 25 kW is told") {
  CHECK(charge_kind(minutes(40, 20), 41, std::nullopt) == ChargeKind::dc);
  CHECK(charge_kind(minutes(18, 20), 18.1, std::nullopt) == ChargeKind::unknown);
  CHECK(charge_kind(minutes(6.8, 60), 6.9, std::nullopt) == ChargeKind::unknown);
}

TEST_CASE("uncertainty: sums, ratios, and back again") {
  const Figure a = figure_of(10, 0.3, 0.4);
  CHECK(uncertainty_of(a).random == doctest::Approx(0.3));
  CHECK(uncertainty_of(a).systematic == doctest::Approx(0.4));
  const Figure sum = sum_of(a, a);
  CHECK(uncertainty_of(sum).random == doctest::Approx(0.3 * std::sqrt(2.0)));
  CHECK(uncertainty_of(sum).systematic == doctest::Approx(0.8));
  const Figure ratio = ratio_of(a, figure_of(5, 0, 0.1));
  CHECK(ratio.value == 2);
  CHECK(uncertainty_of(ratio).systematic == doctest::Approx(2 * std::hypot(0.04, 0.02)));
}

}  // namespace packmile
