#include "ledger/note_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "ledger/nearest.hpp"
#include "notes/note_kinds.hpp"
#include "utf8.hpp"

namespace packmile {
namespace {

constexpr std::size_t kDayLength = 10;     // 2026-03-01
constexpr std::size_t kMinuteLength = 16;  // 2026-03-01T06:00

// UTF-8 that notes.csv can hold. Line ends and tabs may stand in a remark alone.
bool can_be_kept(std::string_view text, bool is_remark = false) {
  while (!text.empty()) {
    const CodePoint letter = decode_utf8(text);
    if (letter.bytes == 0 || letter.value == 0x7F) return false;
    const bool space = letter.value == '\n' || letter.value == '\t';
    if (letter.value < 0x20 && !(is_remark && space)) return false;
    text.remove_prefix(letter.bytes);
  }
  return true;
}
constexpr char kTextHint[] = "letters in UTF-8, without control characters";

Error at(const NoteWord& word, std::string what, std::string hint) {
  return {std::move(what), word.where, std::move(hint)};
}

Result<Done> read_van(const NoteWord& word, Note& note) {
  constexpr char kHint[] = "its name in fleet.toml, or its VIN";
  if (word.text.empty()) return at(word, "the van is missing", kHint);
  if (word.text.size() > kMostVanBytes)
    return at(word, fmt::format("a van's name has at most {} bytes", kMostVanBytes), kHint);
  if (!can_be_kept(word.text)) return at(word, "the van's name cannot be kept", kTextHint);
  note.van = word.text;
  return Done{};
}

Result<Done> read_date(const NoteWord& word, const Zone& zone, Note& note) {
  if (word.text.empty())
    return at(
        word, "the date is missing",
        "a day (2026-03-01) or an instant (2026-03-01T18:30); with --from, --date DAY is that "
        "of lines without one");
  const auto when = read_note_date(word.text, zone);
  if (!when) return at(word, when.error().what, when.error().hint);
  const auto earliest = zone.read(kEarliestNoteDay);
  if (!earliest) return earliest.error();
  if (when->from < *earliest)
    return at(word, fmt::format("'{}' is before {}", word.text, kEarliestNoteDay),
              "write all four digits of the year first: 2026-03-01");
  note.when = *when;
  return Done{};
}

Result<const NoteKindRule*> read_kind(const NoteWord& word) {
  const NoteKindRule* rule = note_kind_named(word.text);
  if (rule != nullptr) return rule;
  std::vector<std::string> known;
  for (const NoteKindRule& one : note_kinds()) known.emplace_back(one.word);
  return at(word,
            word.text.empty() ? "the kind of note is missing"
                              : fmt::format("there is no kind of note '{}'{}", word.text,
                                            did_you_mean(word.text, known)),
            "one of: " + note_kind_words());
}

Result<Done> read_values(const NoteWords& words, const NoteKindRule& rule, Note& note) {
  for (std::size_t k = 0; k < std::max(words.values.size(), rule.values.size()); ++k) {
    const bool typed = k < words.values.size() && !words.values[k].text.empty();
    const NoteWord& word = k < words.values.size() ? words.values[k] : words.kind;
    if (k >= rule.values.size()) {
      if (!typed) continue;
      return at(word,
                fmt::format("'{}' is one value too many: {} takes {}", word.text, rule.word,
                            rule.values.empty() ? "none" : fmt::format("{}", rule.values.size())),
                "write: " + usage_of(rule));
    }
    if (!typed && rule.values[k].optional) continue;
    auto value = read_note_value(rule.values[k], typed ? word.text : std::string_view{});
    if (auto* mistake = std::get_if<NoteMistake>(&value)) {
      std::string hint = std::move(mistake->hint);
      if (!typed) hint += "; write: " + usage_of(rule);
      return at(word, fmt::format("{}: {}", rule.word, mistake->what), std::move(hint));
    }
    note.values[k] = std::move(std::get<NoteValue>(value));
    if (!can_be_kept(note.values[k].text))
      return at(word, fmt::format("{}: {} cannot be kept", rule.word, rule.values[k].name),
                kTextHint);
  }
  return Done{};
}

Result<Done> read_rest(const NoteWords& words, const NoteKindRule& rule, Note& note) {
  if (words.remark.text.size() > kMostRemarkBytes)
    return at(words.remark, fmt::format("the remark is longer than {} bytes", kMostRemarkBytes),
              "say it in fewer words");
  if (!can_be_kept(words.remark.text, true))
    return at(words.remark, "the remark cannot be kept", kTextHint);
  note.remark = words.remark.text;
  if (!words.replaces.text.empty()) {
    const std::uint32_t id = read_note_id(words.replaces.text);
    if (id == 0)
      return at(words.replaces, fmt::format("'{}' is no number of a note", words.replaces.text),
                "packmile note --list shows the numbers");
    note.replaces = id;
  } else if (rule.needs_replaces) {
    return at(words.kind, fmt::format("{} needs the number of the note to take back", rule.word),
              "write: " + usage_of(rule) + "; packmile note --list shows the numbers");
  }
  return Done{};
}

}  // namespace

Result<Note> read_note(const NoteWords& words, const Zone& zone) {
  Note note;
  if (auto done = read_van(words.van, note); !done) return done.error();
  if (auto done = read_date(words.date, zone, note); !done) return done.error();
  const auto rule = read_kind(words.kind);
  if (!rule) return rule.error();
  note.kind = (*rule)->kind;
  if (auto done = read_values(words, **rule, note); !done) return done.error();
  if (auto done = read_rest(words, **rule, note); !done) return done.error();
  return note;
}

Result<NoteTime> read_note_date(std::string_view text, const Zone& zone) {
  std::string word{text};
  if (word.size() > kDayLength && word[kDayLength] == ' ') word[kDayLength] = 'T';
  // Minutes, and then nothing or an offset: the seconds are 0.
  if (word.size() >= kMinuteLength &&
      (word.size() == kMinuteLength ||
       std::string_view{"Z+-"}.find(word[kMinuteLength]) != std::string_view::npos))
    word.insert(kMinuteLength, ":00");
  constexpr std::size_t kSecondLength = 19;  // 2026-03-01T06:00:00
  if (word.size() == kSecondLength) {
    const auto local = zone.read_local(word);
    if (!local) return local.error();
    return NoteTime{*local, *local};
  }
  const auto at = zone.read(word);
  if (!at)
    return Error{"'" + std::string{text} + "' is not a time", "",
                 "write a day as 2026-03-01, a time of the depot as 2026-03-01T18:30, or an "
                 "instant as 2026-03-01T18:30Z or with +01:00 in place of Z"};
  if (word.size() > kDayLength) return NoteTime{*at, *at};
  const Zone::Day day = zone.day_of(*at);
  return NoteTime{day.from, day.to};
}

std::string note_date_text(const NoteTime& when, const Zone& zone) {
  if (when.is_day()) return zone.day(when.from);
  std::string text = zone.iso(when.from);
  // Parts of a second are rarely typed.
  constexpr std::string_view kNone = ".000";
  if (const auto part = text.find(kNone); part != text.npos) text.erase(part, kNone.size());
  return text;
}

std::uint32_t read_note_id(std::string_view text) {
  std::uint32_t id = 0;
  const char* end = text.data() + text.size();
  const auto [at, failed] = std::from_chars(text.data(), end, id);
  return failed == std::errc{} && at == end && id <= kMostNoteId ? id : 0;
}

}  // namespace packmile
