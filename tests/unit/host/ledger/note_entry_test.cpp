#include "ledger/note_entry.hpp"

#include <doctest/doctest.h>

#include "unit/host/ledger/note_depot.hpp"

using namespace packmile;
namespace fs = std::filesystem;
using Notes = test::NoteDepot;
using test::TempFolder;

namespace {

constexpr char kVin[] = "1M8GDM9AXKP042788";

}  // namespace

// By hand: 500 miles in the 7 days from 2026-03-02 to 2026-03-09 are 71.4 a day.
TEST_CASE("note entry: an odometer reading says distance, days and the mean a day") {
  Notes notes;
  CHECK(notes.odometer("2026-03-02", "24850mi") ==
        "1: Linden, odometer 24850 mi on 2026-03-02: the first reading of this van");
  CHECK(notes.odometer("2026-03-09", "25350mi") ==
        "2: Linden, odometer 25350 mi on 2026-03-09: 500 miles in 7 days since 24850 mi on "
        "2026-03-02 (note 1), 71 miles a day");
  CHECK(notes.doubts.empty());
  // In between, and typed in km: 25,000 miles are 40,233.6 km, 241 km after note 1.
  CHECK(notes.odometer("2026-03-04T12:00", "40233.6") ==
        "3: Linden, odometer 40233.6 km on 2026-03-04 12:00: 241 km in 2.5 days since "
        "24850 mi on 2026-03-02 (note 1), 97 km a day; the next reading is 25350 mi on 2026-03-09 "
        "(note 2)");
  CHECK(notes.odometer("2026-03-04T18:00", "40300") ==
        "4: Linden, odometer 40300 km on 2026-03-04 18:00: 66 km in 6.0 h since 40233.6 "
        "km on 2026-03-04 12:00 (note 3); the next reading is 25350 mi on 2026-03-09 "
        "(note 2)");
  // Across the night in which the clocks go forward: 7 days, though 167 hours.
  CHECK(notes.odometer("2026-03-27", "42000").find("in 18 days since") != std::string::npos);
  CHECK(notes.odometer("2026-04-03", "42700").find("700 km in 7 days since") != std::string::npos);
}

TEST_CASE("note entry: an odometer does not run back, unless a note is corrected") {
  Notes notes;
  notes.odometer("2026-03-02", "40000");
  notes.odometer("2026-03-09", "45000");
  const std::string hint =
      " / an odometer never runs back: correct the note that is wrong with --replaces and its "
      "number";
  CHECK(notes.odometer("2026-03-16", "41000") ==
        "v1: the reading 41000 km on 2026-03-16 is lower than the earlier 45000 km on 2026-03-09 "
        "(note 2)" +
            hint);
  CHECK(notes.odometer("2026-03-05", "46000") ==
        "v1: the reading 46000 km on 2026-03-05 is higher than the later 45000 km on 2026-03-09 "
        "(note 2)" +
            hint);
  CHECK(notes.odometer("2026-03-09", "40500", "2") ==
        "3: Linden, odometer 40500 km on 2026-03-09: 500 km in 7 days since 40000 km on 2026-03-02 "
        "(note 1), 71 km a day; in place of note 2 (Linden, odometer 45000 km on 2026-03-09)");
  CHECK(notes.odometer("2026-03-16", "41000").starts_with("4: "));
  // The same reading is no step back.
  CHECK(notes.odometer("2026-03-17", "41000").starts_with("5: "));
}

TEST_CASE("note entry: a reading that no van can drive is taken and doubted") {
  Notes notes;
  notes.odometer("2026-03-02", "40000");
  CHECK(notes.odometer("2026-03-03", "43001").starts_with("2: "));
  REQUIRE(notes.doubts.size() == 1);
  CHECK(notes.doubts[0].find("more than a van can drive") != std::string::npos);
  // From the first instant of one day to the last of the next: 3,000 km are possible.
  CHECK(notes.odometer("2026-03-04", "46000").starts_with("3: "));
  CHECK(notes.doubts.empty());
}

TEST_CASE("note entry: two readings at one time are a contradiction, unless one is corrected") {
  Notes notes;
  notes.odometer("2026-03-02", "40000");
  CHECK(notes.odometer("2026-03-02", "40010") ==
        "note: Linden has odometer 40000 km on 2026-03-02 already (note 1) / to correct it: "
        "--replaces 1; if both are right, give each its time of day (2026-03-01T18:30)");
  CHECK(notes.odometer("2026-03-02T18:00", "40010").starts_with("2: "));
  CHECK(notes.add("Cedar", "2026-03-02", "odometer", {"5"}).starts_with("3: "));
}

TEST_CASE("note entry: what was entered before is known, also after a correction") {
  Notes notes;
  notes.odometer("2026-03-02", "24850mi");
  const std::string before = notes.file();
  CHECK(notes.odometer("2026-03-02", "24850.0 mi") ==
        "known 1: Linden, odometer 24850 mi on 2026-03-02: there already, not entered again");
  CHECK(notes.odometer("2026-03-02", "39992.1984").starts_with("known 1: "));
  CHECK(notes.add(kVin, "2026-03-02", "odometer", {"24850mi"}).starts_with("known 1: "));
  CHECK(notes.file() == before);
  notes.odometer("2026-03-02", "24860mi", "1");
  CHECK(notes.odometer("2026-03-02", "24850mi") ==
        "known 1: Linden, odometer 24850 mi on 2026-03-02: there already, not entered again; it "
        "was replaced by note 2: to bring it back, --replaces 2");
  CHECK(notes.odometer("2026-03-02", "24860mi", "1").starts_with("known 2: "));
  CHECK(notes.odometer("2026-03-02", "24870mi", "1") ==
        "replaces: note 1 was replaced by note 2 already / to correct that one: --replaces 2");
  CHECK(notes.odometer("2026-03-02", "24850mi", "2").starts_with("3: "));
}

TEST_CASE("note entry: a note can be taken back") {
  Notes notes;
  notes.add("Linden", "2026-03-02", "receipt", {"21.3", "9.37", "Corn Exchange"});
  CHECK(notes.add("Linden", "2026-03-03", "withdrawn", {}) ==
        "kind: withdrawn needs the number of the note to take back / write: withdrawn --replaces "
        "ID; packmile note --list shows the numbers");
  CHECK(notes.add("Linden", "2026-03-03", "withdrawn", {}, "1") ==
        "2: Linden, withdrawn on 2026-03-03: takes back note 1 (Linden, receipt 21.3 kWh 9.37 GBP "
        "'Corn Exchange' on 2026-03-02)");
  CHECK(notes.add("Linden", "2026-03-03", "withdrawn", {}, "1").starts_with("known 2: "));
  CHECK(notes.add("Linden", "2026-03-04", "withdrawn", {}, "2").find("takes back a note itself") !=
        std::string::npos);
  CHECK(notes.add("Linden", "2026-03-02", "receipt", {"21.3", "9.37", "Corn Exchange"})
            .find("it was taken back by note 2: to bring it back, --replaces 2") !=
        std::string::npos);
  const auto that_hold = [&] {
    const auto read = read_notes(Depot{notes.folder(), notes.fleet()});
    REQUIRE(read.errors.empty());
    return std::ranges::count_if(read.notes, &Note::holds);
  };
  CHECK(that_hold() == 0);
  CHECK(notes.add("Linden", "2026-03-02", "receipt", {"21.3", "9.37", "Corn Exchange"}, "2")
            .starts_with("3: "));
  CHECK(that_hold() == 1);
}

TEST_CASE("note entry: only a note that is there, and of the same kind, is replaced") {
  Notes notes;
  notes.odometer("2026-03-02", "40000");
  CHECK(notes.odometer("2026-03-02", "40010", "9") ==
        "replaces: there is no note 9 / packmile note --list shows the numbers");
  CHECK(notes.odometer("2026-03-02", "40010", "x")
            .starts_with("replaces: 'x' is no number of a note"));
  CHECK(notes.add("Linden", "2026-03-02", "meter", {"1", "2"}, "1") ==
        "replaces: note 1 is of the kind odometer, and this one of the kind meter / is the number "
        "right? to take note 1 back: withdrawn --replaces 1");
}

// By hand: 9.37 / 21.3 = 0.4399 a kWh.
TEST_CASE("note entry: a receipt says the price per kWh, and several a day are ordinary") {
  Notes notes;
  CHECK(notes.add("Linden", "2026-03-02", "receipt", {"21.3", "9.37", "Corn Exchange"}) ==
        "1: Linden, receipt 21.3 kWh 9.37 GBP 'Corn Exchange' on 2026-03-02: 0.440 GBP per kWh");
  CHECK(notes.add("Linden", "2026-03-02", "receipt", {"11", "4.84", "Corn Exchange"}) ==
        "2: Linden, receipt 11 kWh 4.84 GBP 'Corn Exchange' on 2026-03-02: 0.440 GBP per kWh; "
        "receipt number 2 of that time");
  CHECK(notes.add("Linden", "2026-03-02", "receipt", {"11", "4.84", "Corn Exchange"}) ==
        "known 2: Linden, receipt 11 kWh 4.84 GBP 'Corn Exchange' on 2026-03-02: there already, "
        "not entered again; if it was a second one, give it its time of day");
  CHECK(notes.add("Linden", "2026-03-03", "receipt", {"11", "0", "Mill"})
            .ends_with("11 kWh for nothing"));
  CHECK(notes.add("Linden", "2026-03-04", "receipt", {"10", "5", "Mill"}).starts_with("4: "));
  CHECK(notes.doubts.empty());
  // Sum and kWh in the wrong order.
  CHECK(notes.add("Linden", "2026-03-05", "receipt", {"4.4", "10.5", "Mill"}).starts_with("5: "));
  REQUIRE(notes.doubts.size() == 1);
  CHECK(notes.doubts[0].find("are kWh and sum in the right order?") != std::string::npos);
}

TEST_CASE("note entry: a meter says the kWh between, and what would count twice") {
  Notes notes;
  CHECK(notes.add("Linden", "2026-03-02", "meter", {"1200", "1242.55"}) ==
        "1: Linden, meter 1200 kWh 1242.55 kWh on 2026-03-02: 42.55 kWh between before and after");
  CHECK(notes.add("Linden", "2026-03-02", "meter", {"1242.55", "1250.00"})
            .ends_with("7.45 kWh between before and after"));
  CHECK(notes.doubts.empty());
  CHECK(notes.add("Linden", "2026-03-03", "meter", {"1240", "1260"}).starts_with("3: "));
  REQUIRE(notes.doubts.size() == 1);
  CHECK(notes.doubts[0].find("is in note 1 of 2026-03-02 already") != std::string::npos);
  CHECK(notes.add("Linden", "2026-03-04", "meter", {"1242.5", "1200"}) ==
        "v2: AFTER 1200 is lower than BEFORE 1242.5 / BEFORE comes first; where the counter ran "
        "over, write AFTER with one digit more in front");
}

TEST_CASE("note entry: vans by name and VIN, new ones, and slips of a known one") {
  Notes notes;
  const std::vector<std::string> one{"1"};
  CHECK(notes.add(kVin, "2026-03-02", "odometer", one).starts_with("1: Linden, "));
  CHECK(notes.add("Rowan", "2026-03-02", "odometer", one).starts_with("2: Rowan, "));
  CHECK(notes.add("11111111111111111", "2026-03-02", "odometer", one).starts_with("3: Elder, "));
  CHECK(notes.new_van == "");
  CHECK(notes.doubts.empty());
  for (const char* slip : {"Lindn", "linden", "LINDEN", "Lindne", "Rovan", "1M8GDM9AXKP042789"}) {
    CAPTURE(slip);
    CHECK(notes.add(slip, "2026-03-02", "odometer", one)
              .find(std::string{"van: neither fleet.toml nor the archive knows the van '"} + slip +
                    "'; did you mean '") != std::string::npos);
  }
  CHECK(notes.add("Hawthorn", "2026-03-02", "odometer", one).starts_with("4: Hawthorn, "));
  CHECK(notes.new_van == "Hawthorn");
  REQUIRE(notes.doubts.size() == 1);
  CHECK(notes.doubts[0] == "Hawthorn is taken for a new van: fleet.toml does not know it");
  // Known from notes alone: near is doubted, not refused, or a fleet that is not in
  // fleet.toml yet could not be entered.
  CHECK(notes.add("Hawthron", "2026-03-02", "odometer", one).starts_with("5: Hawthron, "));
  REQUIRE(notes.doubts.size() == 2);
  CHECK(notes.doubts[1] == "Hawthron looks like Hawthorn, which has notes");
  CHECK(notes.add("Hawthorn", "2026-03-03", "odometer", one).starts_with("6: Hawthorn, "));
  CHECK(notes.doubts.at(0) == "Hawthorn is in notes alone: fleet.toml does not know this van");
}

TEST_CASE("note entry: dates that are still to come") {
  Notes notes;
  CHECK(notes.odometer("2026-06-01", "1").starts_with("1: "));
  CHECK(notes.doubts.empty());
  CHECK(notes.odometer("2026-06-02", "2").starts_with("2: "));
  REQUIRE(notes.doubts.size() == 1);
  CHECK(notes.doubts[0] == "2026-06-02 is still to come: by this machine's clock it is 2026-06-01");
  CHECK(notes.odometer("2062-06-01", "3") ==
        "date: '2062-06-01' is more than a year ahead of this machine's 2026-06-01 / is the year "
        "right? and is the machine's clock?");
}

TEST_CASE("note entry: what is not committed leaves nothing") {
  Notes notes;
  notes.odometer("2026-03-02", "40000");
  const std::string before = notes.file();
  {
    auto entry = NoteEntry::begin(notes.folder(), notes.fleet(), {}, UtcTime{});
    REQUIRE(entry);
    NoteWords words;
    words.van.text = "Linden";
    words.date.text = "2010-03-09";
    words.kind.text = "odometer";
    words.values = {{"39000", {}}};
    // By a clock of 1970 all is more than a year ahead.
    CHECK_FALSE(entry->add(words));
    CHECK(entry->added() == 0);
  }
  CHECK(notes.file() == before);
}

TEST_CASE("note entry: notes of a VIN are those of the name that fleet.toml gives it now") {
  Notes notes;
  std::ofstream{notes.folder() / kNotesFileName} << kNotesHeader << kVin
                                                 << ",2026-03-02,odometer,40000\n";
  CHECK(notes.odometer("2026-03-09", "40500").find("500 km in 7 days") != std::string::npos);
  const auto held = read_notes(Depot{notes.folder(), notes.fleet()}).notes;
  REQUIRE(held.size() == 2);
  CHECK(held[0].van == "Linden");
  CHECK(held[1].id == 2);
}

TEST_CASE("note entry: behind the highest id that the file may have there is none") {
  Notes notes;
  std::ofstream{notes.folder() / kNotesFileName}
      << "van,date,kind,v1,id\nLinden,2026-03-02,odometer,40000,1000000000\n";
  CHECK(notes.odometer("2026-03-09", "40500").starts_with("note: there is no id left"));
}
