// How the judges of notes say times, differences and other notes; for them alone.
#pragma once
#include <optional>
#include <string>
#include <string_view>

#include "notes/note_kinds.hpp"

namespace packmile {

[[nodiscard]] NoteJudgement refuse(std::string what, std::string hint,
                                   std::optional<std::size_t> value);

[[nodiscard]] std::string plain_number(double value, int decimals);
// Places behind the point that were typed.
[[nodiscard]] int decimals_of(const NoteValue& value);

// "7 days", "9 h". Days are counted from day to day, whatever hour they have.
[[nodiscard]] std::string span_text(const NoteTime& from, const NoteTime& to);
// "on the same day", "7 days before"
[[nodiscard]] std::string before_text(const NoteTime& earlier, const NoteTime& note);

// One value of an earlier or later note: "5.1 mm on 2026-03-02 (note 3)".
[[nodiscard]] std::string said_before(const Note& note, std::size_t value,
                                      const NoteSetting& setting);
// "2026-03-02 (note 3)"
[[nodiscard]] std::string dated(const Note& note, const NoteSetting& setting);

// " GBP", or nothing where the depot has no currency.
[[nodiscard]] std::string currency_behind(const NoteSetting& setting);

// Neither is all of the time before the other.
[[nodiscard]] bool may_be_at_once(const Note& a, const Note& b);
// May lie between the two, or at the same time as one of them.
[[nodiscard]] bool may_lie_between(const Note& note, const Note& from, const Note& to);

// The newest of those that are all before the note, and that `right` takes.
template <typename Take>
[[nodiscard]] const Note* last_before(const Note& note, const NoteSetting& setting, Take right) {
  const Note* last = nullptr;
  for (const Note* other : setting.others)
    if (other->when.before(note.when) && right(*other)) last = other;
  return last;
}

}  // namespace packmile
