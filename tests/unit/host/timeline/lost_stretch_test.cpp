#include "timeline/lost_stretch.hpp"

#include <doctest/doctest.h>

#include <vector>

using namespace packmile;

namespace {

constexpr std::uint32_t kRing = 512;

// No remnants: the sector behind the gap is alive.
std::uint64_t overwritten(std::uint32_t first, std::uint64_t sectors,
                          const std::vector<std::uint32_t>& boot_ends) {
  return overwritten_of({first, sectors, first + sectors}, kRing, boot_ends);
}

}  // namespace

TEST_CASE("lost: what one full ring overwrote before it was first read") {
  // Numbers 488 .. 999 are on the card.
  CHECK(overwritten(0, 488, {600, 800, 999}) == 488);
  // It ends in the middle of a page that was hurt: still one loss.
  CHECK(overwritten(0, 500, {600, 800, 999}) == 500);
  // Another page behind it was hurt as well.
  CHECK(overwritten(0, 488 + 64, {600, 800, 999}) == 488);
}

TEST_CASE("lost: a gap that the ring has not reached is damage") {
  CHECK(overwritten(300, 40, {200, 511}) == 0);
  CHECK(overwritten(300, 40, {200, 811}) == 0);
  CHECK(overwritten(300, 64, {200, 812}) == 1);
  CHECK(overwritten(300, 40, {}) == 0);
}

TEST_CASE("lost: damage of a lap that is long overwritten stays damage") {
  // A boot of 1,000 sectors ended neither inside the gap plus one lap nor near.
  CHECK(overwritten(300, 3, {200, 700, 1'700, 2'700}) == 0);
  // Between two readings, the second one behind number 1,511.
  CHECK(overwritten(300, 700, {299, 1'511, 3'000}) == 700);
}

TEST_CASE("lost: a remnant of the lap before does not end the gap") {
  // Up to 999 was lost; 700 .. 720 lay where a boot had skipped.
  const std::vector<std::uint32_t> ends{299, 1'511};
  CHECK(overwritten_of({300, 400, 700}, kRing, ends) == 0);
  CHECK(overwritten_of({300, 400, 1'000}, kRing, ends) == 400);
  CHECK(overwritten_of({736, 264, 1'000}, kRing, ends) == 264);
  CHECK(parted_by_remnant({300, 400, 700}, 736));
  CHECK_FALSE(parted_by_remnant({300, 400, 700}, 764));
}

TEST_CASE("lost: numbers near the end of 32 bits") {
  const std::vector<std::uint32_t> ends{0xFFFFFFFFu};
  CHECK(overwritten_of({0, 0xFFFFFFFFu - kRing + 1, 0xFFFFFFFFu - kRing + 1}, kRing, ends) ==
        0xFFFFFFFFu - kRing + 1);
  CHECK(overwritten_of({0xFFFFFFF0u, 5, 0xFFFFFFF5u}, kRing, ends) == 0);
}
