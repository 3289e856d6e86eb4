#include "notes/judge_words.hpp"

#include <fmt/format.h>

#include <chrono>
#include <cmath>

namespace packmile {
namespace {

using Days = std::chrono::duration<double, std::ratio<86'400>>;
using Hours = std::chrono::duration<double, std::ratio<3'600>>;

}  // namespace

NoteJudgement refuse(std::string what, std::string hint, std::optional<std::size_t> value) {
  NoteJudgement out;
  out.mistake = NoteMistake{std::move(what), std::move(hint), value};
  return out;
}

std::string plain_number(double value, int decimals) {
  return fmt::format("{:.{}f}", value, decimals);
}

int decimals_of(const NoteValue& value) {
  return value.step > 0 && value.step < 1 ? static_cast<int>(std::lround(-std::log10(value.step)))
                                          : 0;
}

std::string span_text(const NoteTime& from, const NoteTime& to) {
  const double days = std::chrono::duration_cast<Days>(to.from - from.from).count();
  if (days < 1)
    return plain_number(std::chrono::duration_cast<Hours>(to.from - from.from).count(), 1) + " h";
  // A day of 23 or 25 hours is a day.
  if (from.is_day() && to.is_day())
    return fmt::format("{} {}", std::lround(days), std::lround(days) == 1 ? "day" : "days");
  return plain_number(days, 1) + " days";
}

std::string before_text(const NoteTime& earlier, const NoteTime& note) {
  return earlier.before(note) ? span_text(earlier, note) + " before" : "on the same day";
}

std::string dated(const Note& note, const NoteSetting& setting) {
  return fmt::format("{} (note {})", setting.date_text(note.when), note.id);
}

std::string said_before(const Note& note, std::size_t value, const NoteSetting& setting) {
  return fmt::format(
      "{} on {}",
      value_text(rule_of(note.kind).values[value], note.values[value], setting.currency),
      dated(note, setting));
}

std::string currency_behind(const NoteSetting& setting) {
  return setting.currency == "XXX" ? std::string{} : " " + std::string{setting.currency};
}

bool may_be_at_once(const Note& a, const Note& b) {
  return !a.when.before(b.when) && !b.when.before(a.when);
}

bool may_lie_between(const Note& note, const Note& from, const Note& to) {
  return !note.when.before(from.when) && !to.when.before(note.when);
}

}  // namespace packmile
