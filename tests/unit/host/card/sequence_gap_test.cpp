#include "card/sequence_gap.hpp"

#include <doctest/doctest.h>

using namespace packmile;

// Source: FORMAT.md, "The log": boots start on multiples of 32.
TEST_CASE("gap: inside a boot every missing number is a lost sector") {
  CHECK(missing_between(5, true, 6) == 0);
  CHECK(missing_between(5, true, 9) == 3);
  CHECK(missing_between(5, true, 5) == 0);
  CHECK(missing_between(9, true, 5) == 0);
  CHECK(missing_between(0, true, 0xFFFFFFFFu) == 0xFFFFFFFEu);
}

TEST_CASE("gap: what a new boot skips is not lost") {
  CHECK(missing_between(5, false, 32) == 0);
  CHECK(missing_between(31, false, 32) == 0);
  CHECK(missing_between(5, false, 33) == 1);   // the boot's first sector
  CHECK(missing_between(5, false, 64) == 32);  // a whole run
  CHECK(missing_between(32, false, 64) == 0);
  CHECK(missing_between(5, false, 8) == 2);  // no boundary: not our writer
  CHECK(missing_between(0xFFFFFFE1u, false, 0xFFFFFFFFu) == 0x1D);
}
