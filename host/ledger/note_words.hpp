// A note as it was typed, word by word with the place of each, and what it means.
//
// Input     words of a command line, or of a line of a CSV file.
// Output    Note, or the first mistake at its place.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calendar/zone.hpp"
#include "notes/note.hpp"
#include "result.hpp"

namespace packmile {

// An earlier date has its century or its year wrong: none of the vans that this
// is for was sold before (from memory).
inline constexpr std::string_view kEarliestNoteDay = "2010-01-01";
inline constexpr std::size_t kMostRemarkBytes = 1000;
inline constexpr std::size_t kMostVanBytes = 64;  // as in fleet.toml

struct NoteWord {
  std::string text;
  std::string where;  // "notes.csv:3:14", "--date"
};

struct NoteWords {
  NoteWord van, date, kind, remark, replaces;
  std::vector<NoteWord> values;  // empty ones at the end may be left out
  std::string where;             // of the note as a whole
};

// What needs no other note to be judged. id, replaced_by and entered are left.
[[nodiscard]] Result<Note> read_note(const NoteWords& words, const Zone& zone);

// A day; an instant with offset or Z; or a local time without offset, which is the
// depot's. Seconds may be left out, and a space may stand for the T.
[[nodiscard]] Result<NoteTime> read_note_date(std::string_view text, const Zone& zone);
// 2026-03-01, or 2026-03-01T06:00:00+00:00: as notes.csv has it.
[[nodiscard]] std::string note_date_text(const NoteTime& when, const Zone& zone);

// Room for numbers behind any that a file can hold.
inline constexpr std::uint32_t kMostNoteId = 1'000'000'000;
// A whole number from 1 to kMostNoteId; 0: it is none.
[[nodiscard]] std::uint32_t read_note_id(std::string_view text);

}  // namespace packmile
