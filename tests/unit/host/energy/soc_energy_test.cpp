#include "energy/soc_energy.hpp"

#include <doctest/doctest.h>

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

}  // namespace packmile
