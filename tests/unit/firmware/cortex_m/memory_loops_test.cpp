// The loops that stand for memcpy and its like on the small machine, against the C
// library of this one.
#include "cortex_m/memory_loops.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cstring>
#include <random>

using namespace packmile::cortex_m;

TEST_CASE("memory: moved, filled and compared as the C library does") {
  std::mt19937 random(20261126);
  const auto below = [&random](unsigned n) { return static_cast<std::size_t>(random() % n); };
  for (int round = 0; round < 20'000; ++round) {
    std::array<std::uint8_t, 160> ours{};
    // Few values in every second round, so that much is equal.
    for (std::uint8_t& byte : ours) byte = static_cast<std::uint8_t>(below(round % 2 ? 2 : 256));
    std::array<std::uint8_t, 160> theirs = ours;
    const std::size_t bytes = below(60), a = below(100), b = below(100);
    const int order = compare_bytes(&ours[a], &ours[b], bytes);
    const int wanted = std::memcmp(&ours[a], &ours[b], bytes);
    REQUIRE((order > 0) == (wanted > 0));
    REQUIRE((order < 0) == (wanted < 0));
    move_bytes(&ours[a], &ours[b], bytes);
    std::memmove(&theirs[a], &theirs[b], bytes);
    REQUIRE(ours == theirs);
    const auto value = static_cast<std::uint8_t>(below(256));
    fill_bytes(&ours[b], value, bytes);
    std::memset(&theirs[b], value, bytes);
    REQUIRE(ours == theirs);
  }
}
