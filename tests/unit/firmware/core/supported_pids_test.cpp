#include "core/supported_pids.hpp"

#include <doctest/doctest.h>

#include <vector>

namespace packmile {
namespace {

std::vector<int> listed(const SupportedPids& pids) {
  std::vector<int> all;
  for (int pid = 1; pid <= 0xFF; ++pid)
    if (pids.has(static_cast<std::uint8_t>(pid))) all.push_back(pid);
  return all;
}

bool set(SupportedPids& pids, std::uint8_t base, std::vector<std::uint8_t> bitmap) {
  return pids.set(base, bitmap);
}

}  // namespace

// Source: Wikipedia, OBD-II PIDs, worked example; the second by tshark 4.0.17 and
// scapy 2.5.0.
TEST_CASE("supported pids: worked bitmaps") {
  SupportedPids pids;
  REQUIRE(set(pids, 0x00, {0xBE, 0x1F, 0xA8, 0x13}));
  CHECK(listed(pids) == std::vector<int>{0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F,
                                         0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x20});
  SupportedPids other;
  REQUIRE(set(other, 0x00, {0x00, 0x08, 0x00, 0x13}));
  CHECK(listed(other) == std::vector<int>{0x0D, 0x1C, 0x1F, 0x20});
}

TEST_CASE("supported pids: every single bit of every range is its own PID") {
  for (unsigned base = 0; base <= 0xE0; base += 0x20)
    for (unsigned bit = 0; bit < 32; ++bit) {
      SupportedPids pids;
      std::vector<std::uint8_t> bitmap(4);
      bitmap[bit / 8] = static_cast<std::uint8_t>(0x80 >> bit % 8);
      REQUIRE(set(pids, static_cast<std::uint8_t>(base), bitmap));
      // Base E0 has 31 PIDs: 100 does not exist.
      const unsigned pid = base + 1 + bit;
      if (pid <= 0xFF)
        REQUIRE(listed(pids) == std::vector<int>{static_cast<int>(pid)});
      else
        REQUIRE(listed(pids).empty());
      REQUIRE(pids.bitmap(base / 32) == 0x80000000u >> bit);
      REQUIRE(pids.ranges() == base / 32 + 1);
    }
}

TEST_CASE("supported pids: the walk asks for what the last bit announces") {
  SupportedPids pids;
  CHECK(pids.next_base() == 0x00);
  CHECK_FALSE(pids.has(0x00));
  for (unsigned base = 0; base < 0xE0; base += 0x20) {
    REQUIRE(set(pids, static_cast<std::uint8_t>(base), {0, 0, 0, 1}));
    REQUIRE(pids.next_base() == base + 0x20);
  }
  REQUIRE(set(pids, 0xE0, {0xFF, 0xFF, 0xFF, 0xFF}));
  CHECK_FALSE(pids.next_base().has_value());
  CHECK(pids.has(0x00));
  CHECK(pids.ranges() == 8);

  SupportedPids last;
  REQUIRE(set(last, 0x00, {0xFF, 0xFF, 0xFF, 0xFE}));
  CHECK_FALSE(last.next_base().has_value());
}

TEST_CASE("supported pids: what is no bitmap changes nothing") {
  SupportedPids pids;
  const SupportedPids fresh;
  for (unsigned base = 0; base <= 0xFF; ++base)
    if (base % 0x20 != 0) CHECK_FALSE(set(pids, static_cast<std::uint8_t>(base), {1, 2, 3, 4}));
  CHECK_FALSE(set(pids, 0x00, {}));
  CHECK_FALSE(set(pids, 0x00, {1, 2, 3}));
  CHECK_FALSE(set(pids, 0x00, {1, 2, 3, 4, 5}));
  CHECK(pids == fresh);
  CHECK(pids.ranges() == 0);
  CHECK(pids.bitmap(8) == 0);
}

}  // namespace packmile
