// What notes of wear and work say, and what looks wrong in them.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "notes/judge_words.hpp"
#include "notes/note_kinds.hpp"
#include "notes/positions.hpp"
#include "notes/van_notes.hpp"

namespace packmile {
namespace {

// A new tyre of a van has 8 to 11 mm (common practice, no source).
constexpr double kDeepestNewTreadMm = 12;
// A new pad of a van has 10 to 18 mm without its plate (common practice, no source).
constexpr double kThickestNewPadMm = 20;
// The same work again within so many days is more often one note twice (common
// practice, no source).
constexpr std::chrono::days kSoonAgain{30};
// 2026-03-01, at the beginning of every time.
constexpr std::size_t kDayLetters = 10;
// Of one job; more is more often the sum in the place of the hours.
constexpr double kManyHours = 60;

// Whether a job's words name places, and none of them is `position`.
bool is_elsewhere(const Note& job, std::string_view position) {
  bool names_one = false;
  std::string_view rest = job.values[kJobPart].text;
  while (!rest.empty()) {
    const std::size_t end = std::min(rest.find_first_of(" ,"), rest.size());
    const std::string_view word = rest.substr(0, end);
    rest.remove_prefix(std::min(end + 1, rest.size()));
    if (place_covers(word, position)) return false;
    names_one = names_one || wheel_named(word) || axle_named(word);
  }
  return names_one;
}
bool is_tyre_work(const Note& job, std::string_view wheel) {
  const std::string& part = job.values[kJobPart].text;
  return (part.starts_with("tyre") || part.starts_with("Tyre")) && !is_elsewhere(job, wheel);
}
bool is_pad_work(const Note& job, std::string_view axle) {
  return job.values[kJobPart].text.find("pad") != std::string::npos && !is_elsewhere(job, axle);
}

template <typename Right>
bool any_between(NoteKind kind, const Note& from, const Note& to, const NoteSetting& setting,
                 Right right) {
  return std::ranges::any_of(setting.of_kind(kind), [&](const Note* one) {
    return right(*one) && may_lie_between(*one, from, to);
  });
}

// "0.9 mm less than 6.0 mm on 2025-11-03 (note 3), 119 days before"
std::string change_text(const Note& note, const Note& last, std::size_t value, double error_mm,
                        const NoteSetting& setting) {
  const double change = note.values[value].number - last.values[value].number;
  const int places = std::max(decimals_of(note.values[value]), decimals_of(last.values[value]));
  const std::string error =
      error_mm > 0 ? fmt::format(" (+-{:.1f}, the gauge's error)", kZ95 * error_mm) : "";
  const std::string than =
      fmt::format("{}, {}", said_before(last, value, setting), before_text(last.when, note.when));
  if (change == 0) return fmt::format("the same{} as {}", error, than);
  return fmt::format("{} mm{} {} than {}", plain_number(std::abs(change), places), error,
                     change < 0 ? "less" : "more", than);
}

// The newest note of the other kind that renews a part before; both have its name first.
const Note* renewed_before(const Note& note, NoteKind kind, const NoteSetting& setting) {
  const Note* last = nullptr;
  for (const Note* other : setting.of_kind(kind))
    if (other->when.before(note.when) && other->values[0].text == note.values[0].text) last = other;
  return last;
}

double gauge_error_mm(const Note& tread) {
  const NoteValue& gauge = tread.values[kTreadGauge];
  return gauge.text.empty() ? kUsualGaugeErrorMm : gauge.number;
}

}  // namespace

NoteJudgement judge_tread(const Note& note, const NoteSetting& setting) {
  const Wheel wheel = wheel_named(note.values[kTreadWheel].text).value_or(Wheel::front_left);
  const double depth_mm = note.values[kTreadDepth].number;
  const auto here = [&](const Note& one) {
    return one.values[kTreadWheel].text == note.values[kTreadWheel].text;
  };
  const Note* last = last_before(note, setting, here);
  NoteJudgement out;
  if (last == nullptr) {
    out.answer = fmt::format("the first measurement {}", name_of(wheel));
  } else {
    const bool moved = any_between(NoteKind::tyre_moved, *last, note, setting, [&](const Note& m) {
      return m.values[kMovedTo].text == note.values[kTreadWheel].text ||
             m.values[kMovedFrom].text == note.values[kTreadWheel].text;
    });
    const bool fitted = any_between(NoteKind::job, *last, note, setting, [&](const Note& job) {
      return is_tyre_work(job, word_of(wheel));
    });
    if (moved || fitted) {
      out.answer = fmt::format("{} {} since {}", name_of(wheel),
                               moved ? "tyres were moved" : "work on tyres",
                               said_before(*last, kTreadDepth, setting));
    } else {
      out.answer = fmt::format(
          "{} {}", name_of(wheel),
          change_text(note, *last, kTreadDepth,
                      std::hypot(gauge_error_mm(note), gauge_error_mm(*last)), setting));
      if (depth_mm - last->values[kTreadDepth].number >
          new_start_rise_mm(gauge_error_mm(*last), gauge_error_mm(note)))
        out.doubts.push_back(fmt::format(
            "{} the tread is deeper than {}, and no note tells of another tyre: it is taken for a "
            "new one; packmile note ... job 'tyre {}' SUM, or tyre_moved FROM TO",
            name_of(wheel), said_before(*last, kTreadDepth, setting), word_of(wheel)));
    }
  }
  if (depth_mm > kDeepestNewTreadMm)
    out.doubts.push_back(
        fmt::format("{} mm is deeper than the tread of a new tyre as a rule: is "
                    "it mm, and is the point in its place?",
                    note.values[kTreadDepth].text));
  return out;
}

NoteJudgement judge_pad(const Note& note, const NoteSetting& setting) {
  const std::string& axle = note.values[kPadAxle].text;
  const double thickness_mm = note.values[kPadThickness].number;
  const Note* last = last_before(
      note, setting, [&](const Note& one) { return one.values[kPadAxle].text == axle; });
  NoteJudgement out;
  if (last == nullptr) {
    out.answer = fmt::format("the first measurement of the {} axle", axle);
  } else if (any_between(NoteKind::job, *last, note, setting,
                         [&](const Note& job) { return is_pad_work(job, axle); })) {
    out.answer =
        fmt::format("{} work on pads since {}", axle, said_before(*last, kPadThickness, setting));
  } else {
    out.answer = fmt::format("{} {}", axle, change_text(note, *last, kPadThickness, 0, setting));
    if (thickness_mm - last->values[kPadThickness].number >
        new_start_rise_mm(kPadGaugeErrorMm, kPadGaugeErrorMm))
      out.doubts.push_back(
          fmt::format("{} the pads are thicker than {}, and no note tells of new ones: they are "
                      "taken for new; packmile note ... job 'brake pads {}' SUM",
                      axle, said_before(*last, kPadThickness, setting), axle));
  }
  if (thickness_mm > kThickestNewPadMm)
    out.doubts.push_back(
        fmt::format("{} mm is thicker than a new pad as a rule: is it mm, and "
                    "without the plate?",
                    note.values[kPadThickness].text));
  return out;
}

NoteJudgement judge_job(const Note& note, const NoteSetting& setting) {
  const std::string& part = note.values[kJobPart].text;
  const auto same = [&](const Note& one) { return one.values[kJobPart].text == part; };
  NoteJudgement out;
  const Note* last = last_before(note, setting, same);
  const Note* fluid = renewed_before(note, NoteKind::fluid, setting);
  if (fluid != nullptr && (last == nullptr || last->when.before(fluid->when))) {
    out.answer = fmt::format("renewed as a fluid on {}, {}", dated(*fluid, setting),
                             before_text(fluid->when, note.when));
  } else if (last != nullptr) {
    out.answer = fmt::format("the last one was {}, {}", said_before(*last, kJobSum, setting),
                             before_text(last->when, note.when));
    if (note.when.from - last->when.from < kSoonAgain)
      out.doubts.push_back(fmt::format("'{}' has a job {} already: is it another one?", part,
                                       dated(*last, setting)));
  } else {
    out.answer = fmt::format("the first job of '{}' that is noted", part);
  }
  for (const Note* other : setting.others)
    if (same(*other) && may_be_at_once(*other, note)) {
      out.doubts.push_back(fmt::format("'{}' has a job at that time already, {}: both count", part,
                                       said_before(*other, kJobSum, setting)));
      break;
    }
  if (note.values[kJobSum].number == 0)
    out.doubts.push_back("the sum is 0: was it for nothing, or is what it cost not known yet?");
  if (note.values[kJobHours].number > kManyHours)
    out.doubts.push_back(fmt::format("{} hours for one job: are sum and hours in the right order?",
                                     note.values[kJobHours].text));
  return out;
}

NoteJudgement judge_fluid(const Note& note, const NoteSetting& setting) {
  const std::string& name = note.values[kFluidName].text;
  const Note* last = last_before(
      note, setting, [&](const Note& one) { return one.values[kFluidName].text == name; });
  // A garage's bill renews it as well.
  const Note* job = renewed_before(note, NoteKind::job, setting);
  if (job != nullptr && (last == nullptr || last->when.before(job->when))) last = job;
  NoteJudgement out;
  if (last == nullptr) {
    out.answer = fmt::format("the first time that '{}' was renewed and noted", name);
    return out;
  }
  out.answer = fmt::format("renewed after {}, the last time on {}",
                           span_text(last->when, note.when), dated(*last, setting));
  if (note.when.from - last->when.from < kSoonAgain)
    out.doubts.push_back(fmt::format("'{}' was renewed on {} already: is it another time?", name,
                                     dated(*last, setting)));
  return out;
}

NoteJudgement judge_tyre_moved(const Note& note, const NoteSetting& setting) {
  const std::string& from_word = note.values[kMovedFrom].text;
  const std::string& to_word = note.values[kMovedTo].text;
  if (from_word == to_word)
    return refuse(fmt::format("the tyre cannot move from {} to {}", from_word, to_word),
                  "two different ones of: fl, fr, rl, rr", kMovedTo);
  // All moves of one day are one.
  const auto day_of = [&](const Note& one) {
    return setting.date_text(one.when).substr(0, kDayLetters);
  };
  for (const Note* other : setting.others) {
    if (day_of(*other) != day_of(note)) continue;
    for (const std::size_t value : {kMovedTo, kMovedFrom})
      if (other->values[value].text == note.values[value].text)
        return refuse(fmt::format("note {} has the tyre from {} go to {} on that day", other->id,
                                  other->values[kMovedFrom].text, other->values[kMovedTo].text),
                      fmt::format("one wheel {} one tyre; to correct that note: --replaces {}",
                                  value == kMovedTo ? "takes" : "gives", other->id),
                      value);
  }
  const Wheel from = wheel_named(from_word).value_or(Wheel::front_left);
  const Wheel to = wheel_named(to_word).value_or(Wheel::rear_left);
  NoteJudgement out;
  out.answer =
      fmt::format("what was measured {} goes with the tyre to {}", name_of(from), name_of(to));
  const auto goes_on = [&](const Note* other) {
    return other->values[kMovedFrom].text == to_word && day_of(*other) == day_of(note);
  };
  if (std::ranges::none_of(setting.others, goes_on))
    out.answer += fmt::format(
        "; the one that was {} leaves the van, unless a note of that day says where it went",
        name_of(to));
  return out;
}

}  // namespace packmile
