// What notes of days lost and of the van's price say, and what looks wrong in them.
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

// A van off the road is still moved about a yard or to a workshop (common
// practice, no source).
constexpr double kMovedAboutKm = 100;

// The instant at which the days are over.
UtcTime end_of(const Note& off_road) {
  return off_road.when.from +
         std::chrono::duration_cast<UtcTime::duration>(Days{off_road.values[kOffRoadDays].number});
}

std::string sum_text(double sum, const NoteValue& typed, const NoteSetting& setting) {
  return plain_number(sum, decimals_of(typed)) + currency_behind(setting);
}

}  // namespace

NoteJudgement judge_off_road(const Note& note, const NoteSetting& setting) {
  const double days = note.values[kOffRoadDays].number;
  const NoteValue& sum = note.values[kOffRoadSum];
  NoteJudgement out;
  out.answer = sum.text.empty()
                   ? "what its stand-in cost is not noted"
                   : fmt::format("{}{} a day", money_text(sum.number / days, setting.currency),
                                 currency_behind(setting));
  // A year back from the end of these days.
  double year_days = days;
  const UtcTime end = end_of(note);
  for (const Note* other : setting.others) {
    const UtcTime theirs = end_of(*other);
    if (theirs <= end && end - theirs < std::chrono::days{365})
      year_days += other->values[kOffRoadDays].number;
    if (other->when.from < end && note.when.from < theirs)
      out.doubts.push_back(
          fmt::format("these days overlap those of {}: days of both count once, sums of both count",
                      said_before(*other, kOffRoadDays, setting)));
  }
  if (year_days > days) out.answer += fmt::format("; {:g} days in a year with these", year_days);
  // Readings that are within these days for sure.
  const Note* first = nullptr;
  for (const Note* reading : setting.of_kind(NoteKind::odometer)) {
    if (reading->when.from < note.when.from || reading->when.to > end) continue;
    if (first == nullptr) first = reading;
    const double km =
        reading->values[kOdometerReading].number - first->values[kOdometerReading].number;
    if (km <= kMovedAboutKm) continue;
    out.doubts.push_back(fmt::format("the odometer went on by {:.0f} km in these days, to {}", km,
                                     said_before(*reading, kOdometerReading, setting)));
    break;
  }
  return out;
}

NoteJudgement judge_valuation(const Note& note, const NoteSetting& setting) {
  const NoteValue& sum = note.values[kPriceSum];
  NoteJudgement out;
  if (const Note* last = last_before(note, setting, [](const Note&) { return true; })) {
    const double change = sum.number - last->values[kPriceSum].number;
    out.answer =
        change == 0
            ? fmt::format("as on {}", dated(*last, setting))
            : fmt::format("{} {} than {}, {}", sum_text(std::abs(change), sum, setting),
                          change < 0 ? "less" : "more", said_before(*last, kPriceSum, setting),
                          before_text(last->when, note.when));
  } else {
    out.answer = "the first valuation of this van";
  }
  if (setting.bought && setting.bought->sum > 0) {
    out.answer +=
        fmt::format("; {:.0f} % of what was paid", sum.number / setting.bought->sum * 100);
    if (sum.number > setting.bought->sum)
      out.doubts.push_back(fmt::format("it is more than was paid for the van, {}",
                                       sum_text(setting.bought->sum, sum, setting)));
  }
  if (sum.number == 0) out.doubts.push_back("the sum is 0: would nobody pay anything for the van?");
  return out;
}

NoteJudgement judge_sold(const Note& note, const NoteSetting& setting) {
  const NoteValue& sum = note.values[kPriceSum];
  NoteJudgement out;
  if (setting.bought)
    out.answer = fmt::format("{} {} than was paid, {} after {}",
                             sum_text(std::abs(sum.number - setting.bought->sum), sum, setting),
                             sum.number < setting.bought->sum ? "less" : "more",
                             setting.bought->when.before(note.when)
                                 ? span_text(setting.bought->when, note.when)
                                 : std::string{"0 days"},
                             setting.date_text(setting.bought->when));
  else
    out.answer = "what was paid for it is not in fleet.toml: purchase = { day = , sum = }";
  for (const Note* other : setting.others)
    out.doubts.push_back(
        fmt::format("it was sold for {} as well", said_before(*other, kPriceSum, setting)));
  if (sum.number == 0) out.doubts.push_back("the sum is 0: was the van given away?");
  // The newest of what is still noted behind it.
  const Note* later = nullptr;
  for (const NoteKindRule& rule : note_kinds()) {
    if (rule.kind == NoteKind::withdrawn || rule.kind == NoteKind::sold) continue;
    for (const Note* other : setting.of_kind(rule.kind))
      if (note.when.before(other->when) && (later == nullptr || later->when.before(other->when)))
        later = other;
  }
  if (later != nullptr)
    out.doubts.push_back(fmt::format("there is a later note: {} on {}",
                                     note_text(*later, setting.currency), dated(*later, setting)));
  return out;
}

std::vector<std::string> ownership_doubts(const Note& note, const NoteSetting& setting) {
  std::vector<std::string> out;
  if (note.kind == NoteKind::withdrawn) return out;
  // What others did with the van is of use: its odometer, its tyres.
  const bool money = note.kind == NoteKind::receipt || note.kind == NoteKind::meter ||
                     note.kind == NoteKind::job || note.kind == NoteKind::off_road ||
                     note.kind == NoteKind::valuation || note.kind == NoteKind::sold;
  if (money && setting.bought && note.when.before(setting.bought->when))
    out.push_back(fmt::format("fleet.toml has it bought later, on {}",
                              setting.date_text(setting.bought->when)));
  if (note.kind == NoteKind::sold) return out;
  for (const Note* sale : setting.of_kind(NoteKind::sold))
    if (sale->when.before(note.when)) {
      out.push_back(
          fmt::format("the van was sold before, for {}", said_before(*sale, kPriceSum, setting)));
      break;
    }
  return out;
}

}  // namespace packmile
