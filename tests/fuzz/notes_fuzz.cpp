// notes.csv: every mistake at its place, or notes that keep their promises. What is
// added to a file without mistakes leaves its bytes as they are, but for the first
// line, and is read back the same.
#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <string>

#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "ledger/note_store.hpp"
#include "notes/csv_rows.hpp"
#include "notes/note_kinds.hpp"

namespace packmile::fuzz {

namespace {

const Zone& zone() {
  static const Zone london = Zone::find("Europe/London").value();
  return london;
}

// "notes.csv:LINE:COLUMN", and a line that the text has.
void check_place(std::string_view where, std::string_view text) {
  constexpr std::string_view kName = "notes.csv:";
  if (where == "notes.csv" || where.empty()) return;
  must(where.starts_with(kName), "an error names the file");
  where.remove_prefix(kName.size());
  std::size_t line = 0, column = 0;
  const char* end = where.data() + where.size();
  const auto colon = std::from_chars(where.data(), end, line);
  must(colon.ec == std::errc{} && colon.ptr != end && *colon.ptr == ':', "an error has a line");
  const auto rest = std::from_chars(colon.ptr + 1, end, column);
  must(rest.ec == std::errc{} && rest.ptr == end && column > 0, "an error has a column");
  const auto ends = [](char c) { return c == '\n' || c == '\r'; };
  must(line > 0 && line <= 1 + static_cast<std::size_t>(std::ranges::count_if(text, ends)),
       "an error is inside the file");
}

void check_note(const Note& note) {
  must(!note.van.empty() && note.van.size() <= kMostVanBytes, "a note has a van");
  must(note.when.from <= note.when.to, "a time runs forward");
  must(note.when.to - note.when.from <= std::chrono::hours{25}, "a day is no longer than a day");
  must(note.remark.size() <= kMostRemarkBytes, "a remark has its bounds");
  const NoteKindRule& rule = rule_of(note.kind);
  must(!rule.needs_replaces || note.replaces, "what takes back says which");
  for (std::size_t k = 0; k < note.values.size(); ++k) {
    const NoteValue& value = note.values[k];
    const bool wanted = k < rule.values.size();
    must(wanted || value.text.empty(), "a note has no more values than its kind");
    must(!wanted || rule.values[k].optional || !value.text.empty(), "and has all that it needs");
    if (value.text.empty() || rule.values[k].unit == NoteUnit::text) continue;
    must(std::isfinite(value.number) && value.number >= rule.values[k].least &&
             value.number <= rule.values[k].most,
         "a value is in its range");
    must(value.step > 0, "a value was typed to some place");
  }
}

bool same(const Note& a, const Note& b) {
  return says_the_same(a, b) && a.id == b.id && a.remark == b.remark && a.replaces == b.replaces &&
         a.replaced_by == b.replaced_by && a.entered == b.entered;
}

void check_append(std::string_view text, const std::vector<Note>& notes) {
  Note fresh;
  if (!notes.empty())
    fresh = notes[notes.size() / 2];
  else {
    fresh.van = "Linden";
    fresh.when = read_note_date("2026-03-02", zone()).value();
    fresh.values[0] = {"1", 1, 1};
  }
  fresh.id = 0;
  for (const Note& note : notes) fresh.id = std::max(fresh.id, note.id);
  ++fresh.id;
  fresh.replaced_by.reset();
  fresh.replaces.reset();
  if (rule_of(fresh.kind).needs_replaces) return;
  if (fresh.id > kMostNoteId) return;
  const std::string more = with_notes(text, {fresh}, zone());
  const NotesRead again = parse_notes(more, "notes.csv", zone());
  must(again.errors.empty(), "a file with one note more has no mistakes");
  must(again.notes.size() == notes.size() + 1, "and has one note more");
  for (std::size_t k = 0; k < notes.size(); ++k)
    must(same(again.notes[k], notes[k]), "the notes before it are the same");
  must(same(again.notes.back(), fresh), "what was added is read back");
  ++fresh.id;
  must(with_notes(more, {fresh}, zone()).starts_with(more), "the next one only adds");
}

}  // namespace

void try_notes(Input input) {
  const std::string_view text(reinterpret_cast<const char*>(input.data()), input.size());
  const NotesRead read = parse_notes(text, "notes.csv", zone());
  for (const Error& error : read.errors) {
    must(!error.what.empty(), "an error says what is wrong");
    check_place(error.where, text);
  }
  must(read.errors.size() <= kMostNoteErrors + 1, "not too many mistakes are told");
  if (!read.errors.empty()) {
    must(read.notes.empty(), "a file with mistakes gives no notes");
    return;
  }
  std::map<std::uint32_t, const Note*> by_id;
  for (const Note& note : read.notes) {
    check_note(note);
    must(note.id > 0 && by_id.emplace(note.id, &note).second, "ids are of their own");
  }
  for (const Note& note : read.notes) {
    if (!note.replaces) continue;
    const auto old = by_id.find(*note.replaces);
    must(old != by_id.end() && old->first < note.id, "what is replaced was there before");
    must(old->second->replaced_by == note.id, "and knows by which");
  }
  check_append(text, read.notes);
}

}  // namespace packmile::fuzz
