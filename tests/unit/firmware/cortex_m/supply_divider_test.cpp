#include "cortex_m/supply_divider.hpp"

#include <doctest/doctest.h>

namespace {

using packmile::cortex_m::supply_mv_of;

// The other way: what the divider makes of a voltage, and the step below it. By Ohm's
// law and the definition of a converter's step, in floating point.
std::uint32_t steps_at(double pin_v, double reference_v, double steps) {
  return static_cast<std::uint32_t>(pin_v * 10 / (75 + 10) / reference_v * steps);
}

}  // namespace

TEST_CASE("supply divider: what a converter reads is told within its own step") {
  for (double pin_v = 0; pin_v < 25.4; pin_v += 0.037) {
    const std::uint16_t coarse = supply_mv_of<3'000, 1'024>(steps_at(pin_v, 3.0, 1'024));
    CHECK(coarse <= pin_v * 1'000 + 1e-6);
    CHECK(coarse > pin_v * 1'000 - 25.0 - 1);  // 25.5 V / 1,024
    const std::uint16_t fine = supply_mv_of<3'300, 4'096>(steps_at(pin_v, 3.3, 4'096));
    CHECK(fine <= pin_v * 1'000 + 1e-6);
    CHECK(fine > pin_v * 1'000 - 6.9 - 1);  // 28.05 V / 4,096
  }
  CHECK(supply_mv_of<3'000, 1'024>(1'023) == 25'475);
  CHECK(supply_mv_of<3'300, 4'096>(4'095) == 28'043);
}

TEST_CASE("supply divider: flags beside the steps do not count") {
  CHECK(supply_mv_of<3'000, 1'024>(1'024 + 512) == supply_mv_of<3'000, 1'024>(512));
}
