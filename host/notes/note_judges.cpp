// What each kind of note says, and what it cannot say.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "notes/currency.hpp"
#include "notes/judge_words.hpp"
#include "notes/note_kinds.hpp"

namespace packmile {
namespace {

using Days = std::chrono::duration<double, std::ratio<86'400>>;

// Two drivers taking turns at motorway speed for all of a day and a night come to
// about 2,000 km; a delivery van is far below (common practice, no source).
constexpr double kMostKmADay = 1'500;
// A price that is so many times the usual one, or that part of it, is more likely
// a slip than a charger (common practice, no source).
constexpr double kUnusualPrice = 5;
constexpr std::size_t kFewestPrices = 3;

// In the unit that the note was typed in.
std::string distance_text(double km, const Note& note) {
  const bool miles = note.values[kOdometerReading].text.ends_with("mi");
  return plain_number(miles ? km / kKmPerMile : km, 0) + (miles ? " miles" : " km");
}

std::string reading_text(const Note& note, const NoteSetting& setting) {
  return said_before(note, kOdometerReading, setting);
}

}  // namespace

NoteJudgement judge_odometer(const Note& note, const NoteSetting& setting) {
  const auto km = [](const Note& n) { return n.values[kOdometerReading].number; };
  const Note* last = nullptr;
  const Note* next = nullptr;
  for (const Note* other : setting.others) {
    if (other->when.before(note.when)) last = other;
    if (note.when.before(other->when) && next == nullptr) next = other;
  }
  constexpr char kHint[] =
      "an odometer never runs back: correct the note that is wrong with --replaces and its number";
  const std::string mine = fmt::format("{} on {}",
                                       value_text(rule_of(note.kind).values[kOdometerReading],
                                                  note.values[kOdometerReading], setting.currency),
                                       setting.date_text(note.when));
  if (last != nullptr && km(note) < km(*last))
    return refuse(fmt::format("the reading {} is lower than the earlier {}", mine,
                              reading_text(*last, setting)),
                  kHint, kOdometerReading);
  if (next != nullptr && km(note) > km(*next))
    return refuse(fmt::format("the reading {} is higher than the later {}", mine,
                              reading_text(*next, setting)),
                  kHint, kOdometerReading);

  NoteJudgement out;
  if (setting.bought && setting.bought->odometer_km && setting.bought->when.before(note.when) &&
      km(note) + note.values[kOdometerReading].step < *setting.bought->odometer_km)
    out.doubts.push_back(fmt::format(
        "{} is lower than the odometer that fleet.toml has for the day it was bought, {}", mine,
        distance_text(*setting.bought->odometer_km, note)));
  if (last == nullptr) {
    out.answer =
        setting.others.empty() ? "the first reading of this van" : "no earlier reading of this van";
  } else {
    const double driven_km = km(note) - km(*last);
    out.answer = fmt::format("{} in {} since {}", distance_text(driven_km, note),
                             span_text(last->when, note.when), reading_text(*last, setting));
    const double days = std::chrono::duration_cast<Days>(note.when.from - last->when.from).count();
    if (days >= 1) out.answer += fmt::format(", {} a day", distance_text(driven_km / days, note));
    // The longest time that may lie between the two.
    const double most_days =
        std::chrono::duration_cast<Days>(note.when.to - last->when.from).count();
    if (driven_km > kMostKmADay * std::max(most_days, 1.0))
      out.doubts.push_back(
          fmt::format("{} in {} is more than a van can drive: is the reading right?",
                      distance_text(driven_km, note), span_text(last->when, note.when)));
  }
  if (next != nullptr) out.answer += "; the next reading is " + reading_text(*next, setting);
  return out;
}

NoteJudgement judge_receipt(const Note& note, const NoteSetting& setting) {
  const double kwh = note.values[kReceiptKwh].number;
  const double sum = note.values[kReceiptSum].number;
  NoteJudgement out;
  const std::string currency =
      setting.currency == "XXX" ? std::string{} : std::string{setting.currency} + " ";
  out.answer = sum == 0
                   ? fmt::format("{} kWh for nothing", kwh)
                   : fmt::format("{} {}per kWh", price_text(sum / kwh, setting.currency), currency);
  const auto same_day = std::ranges::count_if(setting.others, [&](const Note* other) {
    return !other->when.before(note.when) && !note.when.before(other->when);
  });
  if (same_day > 0) out.answer += fmt::format("; receipt number {} of that time", same_day + 1);
  std::vector<double> usual;
  for (const Note* other : setting.others)
    if (other->values[kReceiptSum].number > 0)
      usual.push_back(other->values[kReceiptSum].number / other->values[kReceiptKwh].number);
  if (sum > 0 && usual.size() >= kFewestPrices) {
    const auto middle = usual.begin() + static_cast<std::ptrdiff_t>(usual.size() / 2);
    std::ranges::nth_element(usual, middle);
    if (sum / kwh > *middle * kUnusualPrice || sum / kwh < *middle / kUnusualPrice)
      out.doubts.push_back(fmt::format(
          "{} {}per kWh, where this van's receipts have {} as a rule: are kWh and sum in the right "
          "order?",
          price_text(sum / kwh, setting.currency), currency,
          price_text(*middle, setting.currency)));
  }
  return out;
}

NoteJudgement judge_meter(const Note& note, const NoteSetting& setting) {
  const double before = note.values[kMeterBefore].number;
  const double after = note.values[kMeterAfter].number;
  if (after < before)
    return refuse(
        fmt::format("AFTER {} is lower than BEFORE {}", note.values[kMeterAfter].text,
                    note.values[kMeterBefore].text),
        "BEFORE comes first; where the counter ran over, write AFTER with one digit more in front",
        kMeterAfter);
  NoteJudgement out;
  const int places =
      std::max(decimals_of(note.values[kMeterBefore]), decimals_of(note.values[kMeterAfter]));
  out.answer = plain_number(after - before, places) + " kWh between before and after";
  for (const Note* other : setting.others) {
    if (other->values[kMeterBefore].number < after && before < other->values[kMeterAfter].number) {
      out.doubts.push_back(
          fmt::format("the counter between {} and {} is in note {} of {} already: the part that "
                      "both have would count twice",
                      other->values[kMeterBefore].text, other->values[kMeterAfter].text, other->id,
                      setting.date_text(other->when)));
      break;
    }
  }
  return out;
}

// Says nothing of other notes; which note it stands in place of is said of every
// kind.
NoteJudgement judge_withdrawn(const Note&, const NoteSetting&) { return {}; }

}  // namespace packmile
