#include "energy/soc_energy.hpp"

#include <doctest/doctest.h>

#include "energy/figure_sum.hpp"

namespace packmile {

constexpr double kCode = 100.0 / 255;

// Worked example of the methods page (1.9), by numpy.
TEST_CASE("soc energy: 40 codes of 60 kWh") {
  const Figure figure = soc_energy_kwh(40 * kCode, kCode, 60);
  CHECK(figure.value == doctest::Approx(9.41).scale(0).epsilon(0.001));
  CHECK(figure.high - figure.value == doctest::Approx(1.91).scale(0).epsilon(0.005));
  CHECK(figure.scatter / kZ95 == doctest::Approx(0.096).scale(0).epsilon(0.005));
  CHECK(soc_energy_kwh(-40 * kCode, kCode, 60).value == doctest::Approx(-figure.value));
}

TEST_CASE("soc energy: a fall that nobody heard may have been a count put right") {
  for (const double fallen_pct : {0.4, 2.0, 6.0, 30.0}) {
    const Figure figure = unheard_fall_kwh(fallen_pct, 100.0 / 255, 57.6);
    CAPTURE(fallen_pct);
    CHECK(figure.value == doctest::Approx(fallen_pct / 100 * 57.6));
    CHECK(figure.low <= 0);
    CHECK(figure.high > figure.value);
  }
}

// A controller that keeps correcting itself downwards: none of it need be energy.
TEST_CASE("soc energy: neither need all the falls of a month have been energy") {
  FigureSum sum;
  for (const double fallen_pct : {6.0, 0.8, 0.8, 1.2}) {
    sum.add(unheard_fall_kwh(fallen_pct, 100.0 / 255, 57.6));
  }
  CHECK(sum.figure().value == doctest::Approx(0.088 * 57.6));
  CHECK(sum.figure().low <= 0);
  // Upwards each is off by its own: 1.96 * 57.6 * hypot(0.39, 1.41) % of each, of four twice that.
  CHECK(sum.figure().high - sum.figure().value == doctest::Approx(2 * 1.657).epsilon(0.01));
}

}  // namespace packmile
