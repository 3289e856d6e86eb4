#include "ledger/note_store.hpp"

#include <doctest/doctest.h>

#include <fstream>
#include <sstream>

#include "notes/note_kinds.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
namespace fs = std::filesystem;
using test::TempFolder;

namespace {

constexpr char kWholeHeader[] = "van,date,kind,v1,v2,v3,remark,id,replaces,entered\n";

Zone london() { return Zone::find("Europe/London").value(); }

std::string mistakes_of(const std::string& text) {
  std::string out;
  for (const Error& e : parse_notes(text, "notes.csv", london()).errors)
    out += e.where + ": " + e.what + "\n";
  return out;
}

std::vector<Note> notes_of(const std::string& text) {
  const NotesRead read = parse_notes(text, "notes.csv", london());
  for (const Error& e : read.errors) MESSAGE(e.where << ": " << e.what);
  REQUIRE(read.errors.empty());
  return read.notes;
}

Note odometer(std::uint32_t id, const std::string& reading, const std::string& remark = {}) {
  NoteWords words;
  words.van.text = "Linden";
  words.date.text = "2026-03-02";
  words.kind.text = "odometer";
  words.values = {{reading, {}}};
  words.remark.text = remark;
  Note note = read_note(words, london()).value();
  note.id = id;
  return note;
}

void write(const fs::path& file, const std::string& text) {
  std::ofstream{file, std::ios::binary} << text;
}

std::string read(const fs::path& file) {
  std::ostringstream text;
  text << std::ifstream{file, std::ios::binary}.rdbuf();
  return text.str();
}

}  // namespace

TEST_CASE("note store: every column arrives") {
  const auto notes = notes_of(std::string{kWholeHeader} +
                              "Linden,2026-03-02,odometer,24850mi,,,\"read, \"\"twice\"\"\",1,,"
                              "2026-03-02T18:00:00Z\n"
                              "Linden,2026-07-01T18:30,receipt,21.3,9.37,Corn Exchange,,7,,\n"
                              "Linden,2026-03-02,odometer,24860mi,,,,9,1,\n");
  REQUIRE(notes.size() == 3);
  CHECK(notes[0].van == "Linden");
  CHECK(notes[0].when.is_day());
  CHECK(notes[0].kind == NoteKind::odometer);
  CHECK(notes[0].values[kOdometerReading].number == doctest::Approx(24850 * 1.609344));
  CHECK(notes[0].remark == "read, \"twice\"");
  CHECK(notes[0].id == 1);
  CHECK(notes[0].replaced_by == 9u);
  CHECK_FALSE(notes[0].holds());
  CHECK(notes[0].entered == london().read("2026-03-02T18:00:00Z").value());
  // Summer time: 18:30 in London is 17:30 UTC.
  CHECK_FALSE(notes[1].when.is_day());
  CHECK(notes[1].when.from == london().read("2026-07-01T17:30:00Z").value());
  CHECK(notes[1].values[kReceiptPlace].text == "Corn Exchange");
  CHECK(notes[1].id == 7);
  CHECK_FALSE(notes[1].entered.has_value());
  CHECK(notes[2].replaces == 1u);
  CHECK(notes[2].holds());
}

TEST_CASE("note store: a day is as long as the clocks make it") {
  using namespace std::chrono;
  for (const auto& [day, hours_long] : {std::pair{"2026-03-29", 23}, std::pair{"2026-10-25", 25}}) {
    const auto notes = notes_of(std::string{kNotesHeader} + "Linden," + day + ",odometer,1,,,\n");
    CHECK(notes[0].when.to - notes[0].when.from == hours{hours_long});
  }
}

TEST_CASE("note store: lines typed by hand, with CRLF, and with fewer fields") {
  const auto notes = notes_of(
      "van,date,kind,v1,v2,v3,remark\r\n"
      "Linden,2026-03-02,odometer,10\r\n"
      "\r\n"
      "Linden,2026-03-03,odometer,20,,,\r\n");
  REQUIRE(notes.size() == 2);
  CHECK(notes[0].id == 1);
  CHECK(notes[1].id == 2);
  // The number after the highest before it.
  const auto mixed = notes_of(std::string{kWholeHeader} +
                              "Linden,2026-03-02,odometer,10,,,,5,,\n"
                              "Linden,2026-03-03,odometer,20\n"
                              "Linden,2026-03-04,odometer,30,,,,3,,\n"
                              "Linden,2026-03-05,odometer,40\n");
  CHECK(mixed[1].id == 6);
  CHECK(mixed[3].id == 7);
  CHECK(notes_of("").empty());
  CHECK(notes_of(kNotesHeader).empty());
}

TEST_CASE("note store: every mistake is named with its place and what is allowed") {
  CHECK(mistakes_of("van;date;kind;v1;v2;v3;remark\nLinden;2026-03-02;odometer;10;;;\n") ==
        "notes.csv:1:1: the columns are not separated by commas\n");
  CHECK(mistakes_of("van,date,kindd,v1,van\n") ==
        "notes.csv:1:10: there is no column 'kindd'; did you mean 'kind'?\n"
        "notes.csv:1:19: the column 'van' stands twice\n");
  CHECK(mistakes_of("van,kind,v1\n") == "notes.csv:1:1: the column 'date' is missing\n");
  CHECK(mistakes_of("\n\n") == "notes.csv: is empty\n");
  CHECK(mistakes_of(std::string{kWholeHeader} + ",2026-03-02,odometer,10,,,,1,,\n"
                                                "Linden,,odometer,10,,,,2,,\n"
                                                "Linden,02/03/2026,odometer,10,,,,3,,\n"
                                                "Linden,2009-12-31,odometer,10,,,,4,,\n"
                                                "Linden,2026-02-30,odometer,10,,,,4,,\n"
                                                "Linden,2026-03-29T01:30,odometer,10,,,,4,,\n"
                                                "Linden,2026-10-25T01:30,odometer,10,,,,4,,\n"
                                                "Linden,2026-03-02,odometr,10,,,,5,,\n"
                                                "Linden,2026-03-02,odometer,10x,,,,6,,\n"
                                                "Linden,2026-03-02,odometer,,,,,6,,\n"
                                                "Linden,2026-03-02,odometer,10,20,,,7,,\n"
                                                "Linden,2026-03-02,receipt,0,9,Corn Exchange,,8,,\n"
                                                "Linden,2026-03-02,meter,1,,,,9,,\n"
                                                "Linden,2026-03-02,withdrawn,,,,,10,,\n"
                                                "Linden,2026-03-02,odometer,10,,,,0,,\n"
                                                "Linden,2026-03-02,odometer,10,,,,11,eleven,\n"
                                                "Linden,2026-03-02,odometer,10,,,,12,,today\n") ==
        "notes.csv:2:1: the van is missing\n"
        "notes.csv:3:8: the date is missing\n"
        "notes.csv:4:8: '02/03/2026' is not a time\n"
        "notes.csv:5:8: '2009-12-31' is before 2010-01-01\n"
        "notes.csv:6:8: '2026-02-30' is not a time\n"
        "notes.csv:7:8: '2026-03-29T01:30:00' never was in Europe/London: the clocks went forward\n"
        "notes.csv:8:8: '2026-10-25T01:30:00' was twice in Europe/London: the clocks went back\n"
        "notes.csv:9:19: there is no kind of note 'odometr'; did you mean 'odometer'?\n"
        "notes.csv:10:28: odometer: READING '10x' cannot be read\n"
        "notes.csv:11:28: odometer: READING is missing\n"
        "notes.csv:12:31: '20' is one value too many: odometer takes 1\n"
        "notes.csv:13:27: receipt: KWH 0 is out of range\n"
        "notes.csv:14:27: meter: AFTER is missing\n"
        "notes.csv:15:19: withdrawn needs the number of the note to take back\n"
        "notes.csv:16:34: '0' is no id\n"
        "notes.csv:17:37: 'eleven' is no number of a note\n"
        "notes.csv:18:38: 'today' is not a time\n");
  const NotesRead twice =
      parse_notes("van,date,kind,v1\nLinden,2026-10-25T01:30,odometer,1\n", "notes.csv", london());
  REQUIRE(twice.errors.size() == 1);
  CHECK(twice.errors[0].hint == "write 2026-10-25T01:30+01:00 or 2026-10-25T01:30+00:00");
}

TEST_CASE("note store: mistakes between lines") {
  CHECK(mistakes_of(std::string{kWholeHeader} + "Linden,2026-03-02,odometer,10,,,,1,,\n"
                                                "Linden,2026-03-03,odometer,20,,,,1,,\n") ==
        "notes.csv:3:34: the id 1 stands twice\n");
  CHECK(mistakes_of(std::string{kWholeHeader} + "Linden,2026-03-02,odometer,10,,,,1,,\n"
                                                "Linden,2026-03-03,odometer,20,,,,2,7,\n"
                                                "Linden,2026-03-04,odometer,20,,,,3,3,\n"
                                                "Linden,2026-03-05,odometer,20,,,,4,1,\n"
                                                "Linden,2026-03-06,odometer,20,,,,5,1,\n") ==
        "notes.csv:3:36: note 2 replaces note 7, which is no earlier one\n"
        "notes.csv:4:36: note 3 replaces note 3, which is no earlier one\n"
        "notes.csv:6:36: note 1 is replaced twice, by 4 and by 5\n");
  CHECK(mistakes_of("van,date,kind,v1\nLinden,2026-03-02,odometer,10,200\n") ==
        "notes.csv:2:31: '200' is more than the 4 fields of the first line\n");
  CHECK(mistakes_of("van,date,kind,v1\nLinden,2026-03-02,odometer,10,,\n") == "");
  CHECK(mistakes_of("van,date,kind,v1\nLinden,2026-03-02,odometer,10\nLin\"den") ==
        "notes.csv:3:4: a quote stands where none may\n");
}

TEST_CASE("note store: many mistakes are not all told") {
  std::string text = kNotesHeader;
  for (int k = 0; k < 1000; ++k) text += "Linden,never,odometer,1,,,\n";
  const NotesRead read = parse_notes(text, "notes.csv", london());
  REQUIRE(read.errors.size() == kMostNoteErrors + 1);
  CHECK(read.errors.back().what == "there are more mistakes behind these");
  CHECK(read.notes.empty());
}

TEST_CASE("note store: what is there keeps its bytes, and what is added is read back") {
  struct Case {
    const char* before;
    const char* after;
  };
  const Note fresh = odometer(3, "20", "said \"so\", twice\nover");
  for (const auto& [before, after] : {
           Case{"",
                "van,date,kind,v1,v2,v3,remark,id,replaces,entered\n"
                "Linden,2026-03-02,odometer,20,,,\"said \"\"so\"\", twice\nover\",3,,\n"},
           // Without the store's own columns, and without an end to the last line.
           Case{"van,date,kind,v1,v2,v3,remark\r\n\"Linden\",2026-03-01,odometer,10",
                "van,date,kind,v1,v2,v3,remark,id,replaces,entered\r\n"
                "\"Linden\",2026-03-01,odometer,10\r\n"
                "Linden,2026-03-02,odometer,20,,,\"said \"\"so\"\", twice\nover\",3,,\r\n"},
           // In an order of its own.
           Case{"\xEF\xBB\xBFid,kind,date,van,v1\n1,odometer,2026-03-01,Linden,10\n",
                "\xEF\xBB\xBFid,kind,date,van,v1,v2,v3,remark,replaces,entered\n"
                "1,odometer,2026-03-01,Linden,10\n"
                "3,odometer,2026-03-02,Linden,20,,,\"said \"\"so\"\", twice\nover\",,\n"},
       }) {
    CAPTURE(before);
    const std::string text = with_notes(before, {fresh}, london());
    CHECK(text == after);
    const auto notes = notes_of(text);
    CHECK(says_the_same(notes.back(), fresh));
    CHECK(notes.back().remark == fresh.remark);
    CHECK(notes.back().id == 3);
    // And once more: only lines are added.
    CHECK(with_notes(text, {odometer(4, "30")}, london()).starts_with(text));
  }
}

TEST_CASE("note store: a change is kept whole, with the file's mode and through a link") {
  const TempFolder folder;
  const fs::path file = folder.path() / "notes.csv";
  {
    auto store = NoteStore::open(folder.path(), london());
    REQUIRE(store);
    CHECK(store->notes().empty());
    REQUIRE(store->append({odometer(1, "10"), odometer(2, "20")}));
    REQUIRE(store->append({odometer(3, "30")}));
  }
  CHECK(notes_of(read(file)).size() == 3);
  fs::permissions(file, fs::perms::owner_read | fs::perms::owner_write | fs::perms::group_read);
  fs::create_directory(folder.path() / "elsewhere");
  fs::rename(file, folder.path() / "elsewhere" / "kept.csv");
  fs::create_symlink("elsewhere/kept.csv", file);
  {
    auto store = NoteStore::open(folder.path(), london());
    REQUIRE(store);
    REQUIRE(store->append({odometer(4, "40")}));
  }
  CHECK(fs::is_symlink(file));
  CHECK(notes_of(read(folder.path() / "elsewhere" / "kept.csv")).size() == 4);
  CHECK(fs::status(folder.path() / "elsewhere" / "kept.csv").permissions() ==
        (fs::perms::owner_read | fs::perms::owner_write | fs::perms::group_read));
  CHECK_FALSE(fs::exists(folder.path() / "elsewhere" / "kept.csv.new"));
}

TEST_CASE("note store: a damaged file is neither used nor written") {
  const TempFolder folder;
  const fs::path file = folder.path() / "notes.csv";
  const std::string damaged =
      std::string{kNotesHeader} + "Linden,2026-03-02,odometer,10,,,\nLinden,2026-03-0\n";
  write(file, damaged);
  const auto store = NoteStore::open(folder.path(), london());
  REQUIRE_FALSE(store);
  CHECK(store.error().where == file.string() + ":3:8");
  CHECK(read(file) == damaged);
}

TEST_CASE("note store: a file that is too large is refused before it is read") {
  const TempFolder folder;
  const fs::path file = folder.path() / "notes.csv";
  write(file, kNotesHeader);
  fs::resize_file(file, kLargestNotesBytes + 1);
  const auto store = NoteStore::open(folder.path(), london());
  REQUIRE_FALSE(store);
  CHECK(store.error().what == "is larger than 32 MiB");
}

TEST_CASE("note words: text that the file could not hold is refused") {
  NoteWords words;
  words.van = {"Linden", "--van"};
  words.date = {"2026-03-02", "--date"};
  words.kind = {"receipt", ""};
  words.values = {{"1", ""}, {"1", ""}, {"Corn Exchange", "here"}};
  words.remark = {"two\nlines and a\ttab", "--remark"};
  CHECK(read_note(words, london()));
  const auto where_of = [&](NoteWord NoteWords::*word, const char* text) {
    NoteWords wrong = words;
    (wrong.*word).text = text;
    const auto note = read_note(wrong, london());
    return note ? std::string{"taken"} : note.error().where;
  };
  CHECK(where_of(&NoteWords::van, "Lin\nden") == "--van");
  CHECK(where_of(&NoteWords::van,
                 "Lin\xFF"
                 "den") == "--van");
  CHECK(where_of(&NoteWords::remark, "\x01") == "--remark");
  CHECK(where_of(&NoteWords::remark, "\xC3") == "--remark");
  CHECK(where_of(&NoteWords::remark, std::string(kMostRemarkBytes + 1, 'x').c_str()) == "--remark");
  CHECK(where_of(&NoteWords::remark, std::string(kMostRemarkBytes, 'x').c_str()) == "taken");
  CHECK(where_of(&NoteWords::van, std::string(kMostVanBytes + 1, 'x').c_str()) == "--van");
  words.values[2].text = "Corn\nExchange";
  CHECK(read_note(words, london()).error().where == "here");
}

TEST_CASE("note words: dates in every form that people write") {
  const auto text_of = [](const char* date) {
    const auto when = read_note_date(date, london());
    return when ? note_date_text(*when, london()) : "refused: " + when.error().hint;
  };
  CHECK(text_of("2026-07-01") == "2026-07-01");
  CHECK(text_of("2026-07-01T18:30") == "2026-07-01T18:30:00+01:00");
  CHECK(text_of("2026-07-01 18:30") == "2026-07-01T18:30:00+01:00");
  CHECK(text_of("2026-07-01 18:30:15") == "2026-07-01T18:30:15+01:00");
  CHECK(text_of("2026-07-01T18:30Z") == "2026-07-01T19:30:00+01:00");
  CHECK(text_of("2026-07-01T18:30:00.250Z") == "2026-07-01T19:30:00.250+01:00");
  CHECK(text_of("2026-07-01T18:30+02:00") == "2026-07-01T17:30:00+01:00");
  // What is written is read back as the same moment.
  for (const char* date : {"2026-07-01", "2026-10-25T01:30+00:00", "2026-07-01T18:30:00.250Z"}) {
    const auto when = read_note_date(date, london()).value();
    CHECK(read_note_date(note_date_text(when, london()), london()).value() == when);
  }
  for (const char* date : {"", "today", "2026-7-1", "01/07/2026", "2026-07-01T25:00",
                           "2026-07-01T18", "2026-07-01T18:30 UTC", "12026-07-01"}) {
    CAPTURE(date);
    CHECK(text_of(date).starts_with("refused: write a"));
  }
}
