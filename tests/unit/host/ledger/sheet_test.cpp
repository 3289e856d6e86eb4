#include "ledger/sheet.hpp"

#include <doctest/doctest.h>

#include "unit/host/ledger/note_depot.hpp"

using namespace packmile;
using Notes = test::NoteDepot;

namespace {

std::vector<SheetVan> sheet(const Notes& notes, const LoggedOdometers& logged = {},
                            std::string_view only = {}) {
  const NotesRead read = parse_notes(notes.file(), "notes.csv", notes.fleet().zone);
  REQUIRE(read.errors.empty());
  return sheet_of(notes.fleet(), read.notes, logged, only);
}

std::string text(const SheetValue& value) {
  return value.text + "/" + value.day + "/" + value.remark;
}

UtcTime at(const Notes& notes, const char* when) { return notes.fleet().zone.read(when).value(); }

}  // namespace

TEST_CASE("sheet: the last value of everything that is measured by hand, with its day") {
  Notes notes;
  notes.odometer("2026-03-02", "24850mi");
  notes.odometer("2026-04-06T18:00", "25900mi");
  notes.odometer("2026-04-06", "26000mi", "2");
  notes.add("Linden", "2026-04-06", "meter", {"1000", "1020.5"});
  notes.add("Linden", "2026-04-06", "tread", {"fl", "5.1"});
  notes.add("Linden", "2026-03-02", "tread", {"fl", "5.4"});
  notes.add("Linden", "2026-03-02", "tread", {"rr", "6.4"});
  notes.add("Linden", "2026-03-02", "tread", {"rl", "6.5"});
  notes.add("Linden", "2026-03-09", "tyre_moved", {"rr", "rl"});
  notes.add("Linden", "2026-04-06", "tread", {"rl", "6.2"});
  notes.add("Linden", "2026-03-02", "pad", {"rear", "7"});
  notes.add("Linden", "2025-03-02", "fluid", {"coolant"});
  notes.add("Linden", "2024-03-02", "fluid", {"brake fluid"});
  notes.add("Linden", "2026-03-02", "fluid", {"coolant"});
  const auto vans = sheet(notes);
  REQUIRE(vans.size() == 2);
  const SheetVan& van = vans[0];
  CHECK(van.van == "Linden");
  CHECK(text(van.odometer) == "26000 mi/2026-04-06/");
  CHECK(text(van.meter) == "1020.5 kWh/2026-04-06/");
  CHECK(text(van.treads[0]) == "5.1 mm/2026-04-06/");
  CHECK(text(van.treads[1]) == "//");
  // Another tyre since; then that one was measured.
  CHECK(text(van.treads[2]) == "6.2 mm/2026-04-06/");
  CHECK(text(van.treads[3]) == "//tyre moved 2026-03-09");
  CHECK(text(van.pads[0]) == "//");
  CHECK(text(van.pads[1]) == "7 mm/2026-03-02/");
  REQUIRE(van.fluids.size() == 2);
  CHECK(van.fluids[0].name == "brake fluid");
  CHECK(van.fluids[1].renewed.day == "2026-03-02");
  CHECK(vans[1].van == "Cedar");
  CHECK(text(vans[1].odometer) == "//");
}

TEST_CASE("sheet: a logger's odometer counts where it is newer, in the van's own unit") {
  Notes notes;
  notes.odometer("2026-03-02", "24850mi");
  // Within the day of the note nothing is known of which was first.
  LoggedOdometers logged{{"Linden", {at(notes, "2026-03-02T20:00:00Z"), 40000}}};
  CHECK(text(sheet(notes, logged)[0].odometer) == "24850 mi/2026-03-02/");
  // 40,233.6 km are 25,000 miles.
  logged["Linden"] = {at(notes, "2026-03-03T00:00:00Z"), 40233.6};
  logged["Cedar"] = {at(notes, "2026-03-03T00:00:00Z"), 40233.6};
  CHECK(text(sheet(notes, logged)[0].odometer) == "25000 mi/2026-03-03/by its logger");
  CHECK(text(sheet(notes, logged)[1].odometer) == "40234 km/2026-03-03/by its logger");
}

TEST_CASE("sheet: vans of fleet.toml first, then the others, sold ones by name alone") {
  Notes notes;
  notes.add("Hawthorn", "2026-03-02", "odometer", {"5"});
  notes.add("Cedar", "2026-03-02", "sold", {"9000"});
  const LoggedOdometers logged{{"Elder", {at(notes, "2026-03-03T00:00:00Z"), 10}}};
  std::string names;
  for (const SheetVan& van : sheet(notes, logged)) names += van.van + " ";
  CHECK(names == "Linden Elder Hawthorn ");
  CHECK(sheet(notes, logged, "Cedar").size() == 1);
  CHECK(sheet(notes, logged, "Aspen").empty());
  // The sale was a mistake.
  notes.add("Cedar", "2026-03-02", "withdrawn", {}, "2");
  CHECK(sheet(notes, logged).size() == 4);
}

TEST_CASE(
    "sheet: its CSV is read as lines without anything filled in, and a filled one as a note") {
  Notes notes;
  notes.add("Linden", "2026-03-02", "tread", {"fl", "5.4"});
  notes.add("Linden", "2026-03-02", "fluid", {"=1+1, \"odd\""});
  std::string csv = sheet_csv(sheet(notes));
  CHECK(csv.starts_with("van,date,kind,v1,v2,v3,remark,last\nLinden,,odometer,,,,,\n"));
  CHECK(csv.find("Linden,,tread,fl,,,,5.4 mm on 2026-03-02\n") != std::string::npos);
  std::size_t lines = 0, empty = 0;
  const auto count = [&](const NoteLine& line, bool has_ids) {
    CHECK_FALSE(has_ids);
    CHECK(line.of_sheet);
    ++lines;
    empty += nothing_filled_in(line) ? 1 : 0;
    return true;
  };
  CHECK(walk_note_lines(csv, "sheet.csv", count).empty());
  // Odometer, meter, four wheels, two axles, a fluid; of two vans.
  CHECK(lines == 18);
  CHECK(empty == 18);

  const auto filled = [&](const std::string& line) {
    bool out = false;
    CHECK(walk_note_lines("van,date,kind,v1,v2,v3,remark,last\n" + line + "\n", "sheet.csv",
                          [&](const NoteLine& one, bool) {
                            out = !nothing_filled_in(one);
                            return true;
                          })
              .empty());
    return out;
  };
  CHECK_FALSE(filled("Linden,2026-04-06,tread,fl,,,,5.4 mm"));
  CHECK(filled("Linden,,tread,fl,5.2,,,"));
  CHECK(filled("Linden,,tread,fl,,0.1,,"));
  // What somebody wrote is never passed over.
  CHECK(filled("Linden,,tread,fl,,,cut in the flank,"));
  CHECK(filled("Linden,,odometer,25000,,,,"));
  CHECK(filled("Linden,,fluid,coolant,,,,"));
  CHECK(filled("Linden,,threads,fl,,,,"));
  // Without the column `last` an empty value is a mistake.
  CHECK(
      walk_note_lines("van,date,kind,v1\nLinden,,odometer,\n", "x", [](const NoteLine& one, bool) {
        CHECK_FALSE(nothing_filled_in(one));
        return true;
      }).empty());
}

TEST_CASE("sheet: its column is none of notes.csv") {
  Notes notes;
  const NotesRead read = parse_notes("van,date,kind,v1,last\nLinden,2026-03-02,odometer,5,\n",
                                     "notes.csv", notes.fleet().zone);
  REQUIRE(read.errors.size() == 1);
  CHECK(read.errors[0].where == "notes.csv:2:1");
  CHECK(read.errors[0].what.find("'last'") != std::string::npos);
}

TEST_CASE("sheet: what is due stands in its CSV, with a fluid's last renewal or for itself") {
  Notes notes;
  notes.add("Linden", "2024-03-02", "fluid", {"brake fluid"});
  notes.add("Linden", "2026-01-02", "fluid", {"coolant"});
  const NotesRead read = parse_notes(notes.file(), "notes.csv", notes.fleet().zone);
  const SheetDues dues{{"Linden", {{"brake fluid", "2026-03-02"}, {"cabin filter", "2026-04-01"}}}};
  const auto vans = sheet_of(notes.fleet(), read.notes, {}, {}, dues);
  REQUIRE(vans[0].due.size() == 2);
  CHECK(vans[1].due.empty());
  const std::string csv = sheet_csv(vans);
  CHECK(csv.find("Linden,,fluid,,,,,\"brake fluid renewed on 2024-03-02, due 2026-03-02\"\n") !=
        std::string::npos);
  CHECK(csv.find("Linden,,fluid,,,,,coolant renewed on 2026-01-02\n") != std::string::npos);
  CHECK(csv.find("Linden,,fluid,,,,,\"cabin filter, due 2026-04-01\"\n") != std::string::npos);
}

TEST_CASE("sheet: what was renewed since it was measured has no last value") {
  Notes notes;
  notes.add("Linden", "2026-03-02", "tread", {"fl", "2.9"});
  notes.add("Linden", "2026-03-02", "tread", {"rl", "5.9"});
  notes.add("Linden", "2026-03-02", "pad", {"front", "3"});
  notes.add("Linden", "2026-03-02", "pad", {"rear", "8"});
  notes.add("Linden", "2026-03-09", "job", {"tyres front", "240"});
  notes.add("Linden", "2026-03-09", "job", {"brake pads front", "90"});
  const SheetVan van = sheet(notes)[0];
  CHECK(text(van.treads[0]) == "//new tyre 2026-03-09");
  CHECK(text(van.treads[1]) == "//new tyre 2026-03-09");
  CHECK(text(van.treads[2]) == "5.9 mm/2026-03-02/");
  CHECK(text(van.pads[0]) == "//new pads 2026-03-09");
  CHECK(text(van.pads[1]) == "8 mm/2026-03-02/");
  notes.add("Linden", "2026-03-10", "tread", {"fl", "8.0"});
  CHECK(text(sheet(notes)[0].treads[0]) == "8.0 mm/2026-03-10/");
}
