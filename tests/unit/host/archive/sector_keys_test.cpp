#include "archive/sector_keys.hpp"

#include <doctest/doctest.h>

#include <map>
#include <random>
#include <set>

using namespace packmile;

TEST_CASE("keys: new, known and contradicting sectors are told apart") {
  SectorKeys keys;
  CHECK(keys.insert(1, 2, 3) == KeyOutcome::added);
  CHECK(keys.insert(1, 2, 3) == KeyOutcome::known);
  CHECK(keys.insert(2, 1, 3) == KeyOutcome::added);
  CHECK(keys.insert(1, 2, 4) == KeyOutcome::conflict);
  CHECK(keys.insert(1, 2, 4) == KeyOutcome::known);
  CHECK(keys.insert(1, 2, 3) == KeyOutcome::known);
  CHECK(keys.insert(0, 0, 0) == KeyOutcome::added);
  CHECK(keys.insert(0, 0, 0) == KeyOutcome::known);
}

// Against std::map and std::set, over many growths.
TEST_CASE("keys: a hundred thousand random insertions are answered as by a map") {
  SectorKeys keys;
  std::map<std::pair<std::uint32_t, std::uint32_t>, std::set<std::uint32_t>> plain;
  std::mt19937 random(1);
  for (int i = 0; i < 100'000; ++i) {
    const auto boot = static_cast<std::uint32_t>(random() % 5);
    const auto sequence = static_cast<std::uint32_t>(random() % 30'000);
    const auto crc = static_cast<std::uint32_t>(random() % 3);
    auto& crcs = plain[{boot, sequence}];
    const KeyOutcome expected = crcs.empty()         ? KeyOutcome::added
                                : crcs.contains(crc) ? KeyOutcome::known
                                                     : KeyOutcome::conflict;
    crcs.insert(crc);
    REQUIRE(keys.insert(boot, sequence, crc) == expected);
  }
}
