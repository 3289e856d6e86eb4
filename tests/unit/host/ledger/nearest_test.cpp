#include "ledger/nearest.hpp"

#include <doctest/doctest.h>

#include <vector>

using namespace packmile;

// Source: kitten/sitting = 3 and ca/abc = 3 (optimal string alignment), the
// textbook pairs of edit distance (from memory).
TEST_CASE("nearest: distances of the textbook pairs") {
  CHECK(edit_distance("kitten", "sitting") == 3);
  CHECK(edit_distance("ca", "abc") == 3);
  CHECK(edit_distance("", "abc") == 3);
  CHECK(edit_distance("zone", "zone") == 0);
}

TEST_CASE("nearest: neighbours swapped are one slip") {
  CHECK(edit_distance("trisp", "trips") == 1);
}

TEST_CASE("nearest: a word that is far from all has no neighbour") {
  const std::vector<std::string> known{"trips", "sessions", "samples"};
  CHECK(nearest_of("tripz", known) == "trips");
  CHECK(nearest_of("smaples", known) == "samples");
  CHECK_FALSE(nearest_of("verdicts", known).has_value());
  CHECK_FALSE(nearest_of("", known).has_value());
  CHECK(did_you_mean("tripz", known) == "; did you mean 'trips'?");
  CHECK(did_you_mean("xyzzy", known).empty());
}

// No source: a name from a hostile file must not make a large table.
TEST_CASE("nearest: endless words are cut") {
  const std::string endless(1'000'000, 'x');
  CHECK(edit_distance(endless, endless + "y") == 0);
}
