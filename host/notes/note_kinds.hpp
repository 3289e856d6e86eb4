// The kinds of notes: the word of each, what its values are, and how one is
// judged. A new kind is a NoteKind, one line in note_kinds.cpp and one judge.
//
// Units     numbers are km, kWh, mm, hours, days and the depot's currency; behind a
//           distance `mi` makes miles, and each unit's own name may stand there.
#pragma once
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "notes/note.hpp"

namespace packmile {

enum class NoteUnit : std::uint8_t { km, kwh, mm, hours, days, money, text };

struct NoteValueRule {
  std::string_view name;  // as in the usage line: READING
  NoteUnit unit;
  // Numbers: the range, in the unit. Text: of its length in bytes.
  double least;
  double most;
  bool more_than_least = false;  // the least itself is refused
  bool optional = false;
  std::span<const std::string_view> words{};  // text: nothing else than these; empty: any
};

// Why something that was typed cannot be taken.
struct NoteMistake {
  std::string what;
  std::string hint;
  std::optional<std::size_t> value;  // which one; absent: the note as a whole
};

// How the owner came by the van (fleet.toml).
struct Bought {
  NoteTime when;
  double sum = 0;                     // the depot's currency
  std::optional<double> odometer_km;  // absent: not known
};

// What a note is judged against.
struct NoteSetting {
  // Notes of the same van and kind that hold, in order of time; without the one
  // that is replaced.
  std::span<const Note* const> others;
  std::string_view currency;  // ISO 4217; XXX: none
  std::function<std::string(const NoteTime&)> date_text;
  // As `others`, of any kind.
  std::function<std::vector<const Note*>(NoteKind)> of_kind;
  std::optional<Bought> bought;  // absent: not known
};

struct NoteJudgement {
  std::optional<NoteMistake> mistake;  // if any, the rest is empty
  std::string answer;                  // what the note changed
  std::vector<std::string> doubts;     // looks wrong, and is taken
};

struct NoteKindRule {
  NoteKind kind;
  std::string_view word;
  std::span<const NoteValueRule> values;
  // Two of one van and time with other values are no contradiction.
  bool several_a_day;
  bool needs_replaces;
  NoteJudgement (*judge)(const Note&, const NoteSetting&);
  // The first value is a place on the van: only notes of the same one contradict
  // each other.
  bool by_place = false;
};

[[nodiscard]] std::span<const NoteKindRule> note_kinds();  // in order of NoteKind
[[nodiscard]] const NoteKindRule& rule_of(NoteKind kind);
[[nodiscard]] const NoteKindRule* note_kind_named(std::string_view word);  // nullptr: none
// "odometer READING", "meter BEFORE AFTER"
[[nodiscard]] std::string usage_of(const NoteKindRule& rule);
// "odometer, receipt, meter, ..., withdrawn"
[[nodiscard]] std::string note_kind_words();

// One typed value. A mistake begins with the rule's name and has no `value`.
[[nodiscard]] std::variant<NoteValue, NoteMistake> read_note_value(const NoteValueRule& rule,
                                                                   std::string_view text);

// "odometer 24850 mi", "receipt 21.3 kWh 9.37 GBP 'Corn Exchange car park'"
[[nodiscard]] std::string note_text(const Note& note, std::string_view currency);
// The value as it is kept and shown: "24850 mi".
[[nodiscard]] std::string value_text(const NoteValueRule& rule, const NoteValue& value,
                                     std::string_view currency);
// The same van, time, kind and values: numbers as numbers, whatever they were
// typed as.
[[nodiscard]] bool says_the_same(const Note& a, const Note& b);

// The judges, one a kind: note_judges.cpp, upkeep_judges.cpp, money_judges.cpp.
[[nodiscard]] NoteJudgement judge_odometer(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_receipt(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_meter(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_tread(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_pad(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_job(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_fluid(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_tyre_moved(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_off_road(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_valuation(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_sold(const Note& note, const NoteSetting& setting);
[[nodiscard]] NoteJudgement judge_withdrawn(const Note& note, const NoteSetting& setting);

// What is odd about the time at which a note of any kind has it, for a van that was
// bought and sold.
[[nodiscard]] std::vector<std::string> ownership_doubts(const Note& note,
                                                        const NoteSetting& setting);

}  // namespace packmile
