#include "ledger/part_words.hpp"

#include <doctest/doctest.h>

#include "unit/host/ledger/note_depot.hpp"

using namespace packmile;

namespace {

std::string places(std::string_view noted, std::string_view part) {
  const auto found = places_in(noted, part);
  if (!found) return "another part";
  std::string out;
  for (const std::string& one : *found) out += (out.empty() ? "" : " ") + one;
  return out;
}

constexpr char kParts[] =
    "[[part]]\nname = \"cabin filter\"\nlimit_months = 12\n[[part]]\nname = \"coolant\"\n"
    "limit_months = 60\nvans = [\"Cedar\"]\n";

}  // namespace

TEST_CASE("part words: a name, whatever its capitals and its number, and places behind it") {
  CHECK(places("Cabin Filters", "cabin filter") == "");
  CHECK(places("tyres", "tyre") == "");
  CHECK(places("Brake pads, front", "brake pads") == "front");
  CHECK(places("tyre fl fr", "tyre") == "fl fr");
  CHECK(places("tyre rear left", "tyre") == "rl");
  CHECK(places("tyre valve", "tyre") == "another part");
  CHECK(places("cabin", "cabin filter") == "another part");
  CHECK(places("", "tyre") == "another part");
}

TEST_CASE("note entry: work on a part that fleet.toml does not know is doubted, with the nearest") {
  test::NoteDepot notes{kParts};
  const auto doubt_of = [&](const char* kind, const char* part) {
    std::vector<std::string> values{part};
    if (std::string_view{kind} == "job") values.emplace_back("5");
    CHECK(notes.add("Linden", "2026-03-02", kind, values).find("Linden") != std::string::npos);
    return notes.doubt();
  };
  CHECK(doubt_of("job", "Cabin filter") == "");
  CHECK(doubt_of("job", "tyres front") == "");
  CHECK(doubt_of("job", "brake pads rear") == "");
  // Each wheel and axle has its own past.
  CHECK(doubt_of("job", "brake pads") ==
        "'brake pads' names no axle, so those of both begin anew: 'brake pads front' or 'brake "
        "pads rear'");
  CHECK(doubt_of("job", "tyres") ==
        "'tyres' names no wheel, so no tyre begins anew: 'tyre fl' or 'tyre front'");
  CHECK(doubt_of("job", "cabin fliter") ==
        "fleet.toml has no part 'cabin fliter'; did you mean 'cabin filter'?");
  // Another van's part is none of this one.
  CHECK(doubt_of("fluid", "coolant") ==
        "fleet.toml has no part 'coolant', so this renews none; it has cabin filter, tyre, brake "
        "pads");
  CHECK(notes.add("Cedar", "2026-03-02", "fluid", {"coolant"}).starts_with("8: "));
  CHECK(notes.doubt() == "");
  // Without parts there is nothing to compare with.
  test::NoteDepot bare;
  bare.add("Linden", "2026-03-02", "fluid", {"coolant"});
  CHECK(bare.doubt() == "");
  bare.add("Linden", "2026-03-02", "job", {"tyre", "90"});
  CHECK(bare.doubt().find("names no wheel") != std::string::npos);
}
