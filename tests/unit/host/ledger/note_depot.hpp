// A depot in which notes are entered one by one, for tests.
#pragma once
#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "ledger/depot.hpp"
#include "ledger/note_entry.hpp"
#include "unit/host/card/card_maker.hpp"

namespace packmile::test {

// A depot's folder, its fleet, and a clock that stands still.
class NoteDepot {
 public:
  // `linden`: more lines of fleet.toml about Linden, or blocks of it.
  explicit NoteDepot(const std::string& linden = {}) {
    const bool blocks = linden.starts_with("[[");
    auto read = parse_fleet(
        "zone = \"Europe/London\"\ncurrency = \"GBP\"\n[[van]]\nname = \"Linden\"\nvin = "
        "\"1M8GDM9AXKP042788\"\n" +
            (blocks ? std::string{} : linden) + "[[van]]\nname = \"Cedar\"\n" +
            (blocks ? linden : std::string{}),
        "fleet.toml");
    REQUIRE(read.errors.empty());
    fleet_ = std::move(read.fleet);
  }

  // "1: ..." entered, "known 1: ..." there already, "where: what / hint" refused.
  std::string add(const std::string& van, const std::string& date, const std::string& kind,
                  const std::vector<std::string>& values, const std::string& replaces = {}) {
    auto entry =
        NoteEntry::begin(folder_.path(), fleet_, {{"Rowan", ""}, {"Elder", "11111111111111111"}},
                         fleet_.zone.read("2026-06-01T12:00:00Z").value());
    REQUIRE(entry);
    NoteWords words;
    words.van = {van, "van"};
    words.date = {date, "date"};
    words.kind = {kind, "kind"};
    for (std::size_t k = 0; k < values.size(); ++k)
      words.values.push_back({values[k], "v" + std::to_string(k + 1)});
    words.replaces = {replaces, "replaces"};
    words.where = "note";
    const auto note = entry->add(words);
    if (!note) return note.error().where + ": " + note.error().what + " / " + note.error().hint;
    REQUIRE(entry->commit());
    doubts = note->doubts;
    new_van = note->new_van;
    return (note->outcome == EnteredNote::Outcome::known ? "known " : "") +
           std::to_string(note->id) + ": " + note->answer;
  }
  std::string odometer(const std::string& date, const std::string& reading,
                       const std::string& replaces = {}) {
    return add("Linden", date, "odometer", {reading}, replaces);
  }

  std::string file() const {
    std::ostringstream text;
    text << std::ifstream{folder_.path() / kNotesFileName, std::ios::binary}.rdbuf();
    return text.str();
  }
  const std::filesystem::path& folder() const { return folder_.path(); }
  const Fleet& fleet() const { return fleet_; }

  // Of the last one that was entered.
  std::vector<std::string> doubts;
  std::string new_van;

  // All of them in one line.
  std::string doubt() const {
    std::string out;
    for (const std::string& one : doubts) out += (out.empty() ? "" : " | ") + one;
    return out;
  }

 private:
  TempFolder folder_;
  Fleet fleet_;
};

}  // namespace packmile::test
