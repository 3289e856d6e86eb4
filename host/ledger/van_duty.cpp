#include "ledger/van_duty.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "ledger/duty_days.hpp"

namespace packmile {
namespace {

constexpr double kVanStepKm = 0.1;  // of the odometer word
// Readings that are so much newer than the last day on record tell more.
constexpr std::chrono::days kNotesTellMore{28};
// A word whose time is known to this belongs to its day or a neighbour.
constexpr std::chrono::milliseconds kSureDay{std::chrono::hours{24}};
// Dash and odometer word may differ by their rounding (common practice, no source).
constexpr double kDashAgreesKm = 2;

constexpr char kNotLogged[] =
    "this is counted by a logger, and no card of this van is in the archive";
constexpr char kNoOdometer[] = "the odometer is not known; note it: odometer READING";

// Why a note cannot be right where the van's own word of before or after it is; empty:
// it can.
std::string contradiction(const OdometerNote& note, const std::vector<OdometerReading>& words,
                          const Zone& zone) {
  const double tolerance_km = std::max(note.step_km, kDashAgreesKm);
  const auto told = [&](const OdometerReading& word, const char* against) {
    return fmt::format(
        "note {}, odometer {:.0f} km of {}, is {} what the van itself said on {}, {:.0f} km: it is "
        "left out; correct it with --replaces {}",
        note.id, note.km, zone.day(note.when.from), against, zone.day(word.time), word.odometer_km,
        note.id);
  };
  const auto after = std::ranges::upper_bound(words, note.when.from, {}, &OdometerReading::time);
  if (after != words.begin() && note.km + tolerance_km < (after - 1)->odometer_km)
    return told(*(after - 1), "below");
  const auto later = std::ranges::lower_bound(words, note.when.to, {}, &OdometerReading::time);
  if (later != words.end() && note.km > later->odometer_km + tolerance_km)
    return told(*later, "above");
  return {};
}

// Without the words of boots whose clock leaves their day open: they contradict nobody.
std::vector<OdometerReading> words_of_sure_days(const VanParts& parts) {
  std::vector<std::pair<UtcTime, UtcTime>> unsure;
  const auto take = [&](const auto& row) {
    for (const auto& side : {row.start_doubt.too_late_ms, row.start_doubt.too_early_ms})
      if (!side || std::chrono::milliseconds{*side} > kSureDay) {
        unsure.emplace_back(row.start, row.end);
        return;
      }
  };
  std::ranges::for_each(parts.trips, take);
  std::ranges::for_each(parts.sessions, take);
  std::ranges::for_each(parts.stands, take);
  const auto& words = parts.trace.odometer;
  std::vector<bool> left_out(words.size());
  for (const auto& [from, to] : unsure) {
    auto at = std::ranges::lower_bound(words, from, {}, &OdometerReading::time);
    for (; at != words.end() && at->time <= to; ++at)
      left_out[static_cast<std::size_t>(at - words.begin())] = true;
  }
  std::vector<OdometerReading> out;
  for (std::size_t k = 0; k < words.size(); ++k)
    if (!left_out[k]) out.push_back(words[k]);
  return out;
}

void find_odometer_points(const VanParts& parts, const VanNotes& notes, const Zone& zone,
                          UtcTime as_of, VanDuty& duty) {
  std::vector<OdometerMark>& out = duty.odometer;
  // The first and the last of each day are enough, and a year has 100,000 words.
  Zone::Day day{};
  LocalDay local{};
  bool second = false;
  for (const OdometerReading& reading : parts.trace.odometer) {
    if (reading.time > as_of) break;
    const bool same = reading.time >= day.from && reading.time < day.to;
    if (!same) {
      day = zone.day_of(reading.time);
      local = local_day(zone, reading.time);
      second = false;
    }
    if (second) out.pop_back();
    out.push_back({local, reading.odometer_km, kVanStepKm, std::nullopt});
    second = same;
  }
  const std::vector<OdometerReading> words =
      notes.odometer.empty() ? std::vector<OdometerReading>{} : words_of_sure_days(parts);
  for (const OdometerNote& note : notes.odometer) {
    if (note.when.from > as_of) continue;
    std::string wrong = contradiction(note, words, zone);
    if (wrong.empty())
      out.push_back({local_day(zone, note.when.from), note.km, note.step_km, note.id});
    else
      duty.left_out.push_back({note.id, std::move(wrong)});
  }
  std::ranges::stable_sort(out, {}, [](const OdometerMark& p) { return std::pair{p.day, p.km}; });
}

Amount part_of_mean(const Amount& sum, double days_known, double days) {
  const double value = days_known > 0 ? sum.value / days_known * days : 0;
  return {value, 0, 2 * value};
}

}  // namespace

LocalDay local_day(const Zone& zone, UtcTime at) {
  const std::string text = zone.day(at);
  // The year may have a sign and more than four digits.
  int parts[3] = {0, 0, 0};
  const char* next = text.data();
  const char* end = text.data() + text.size();
  for (int k = 0; k < 3 && next < end; ++k) {
    const auto [after, failed] = std::from_chars(next, end, parts[k]);
    next = failed == std::errc{} && after < end ? after + 1 : end;
  }
  return LocalDay{std::chrono::year{parts[0]} /
                  std::chrono::month{static_cast<unsigned>(parts[1])} /
                  std::chrono::day{static_cast<unsigned>(parts[2])}};
}

VanDuty duty_of(const VanParts& parts, const VanNotes& notes, const Zone& zone, UtcTime as_of) {
  VanDuty out;
  out.today = local_day(zone, as_of);
  DutyDays days = duty_days_of(parts, zone, as_of);
  out.days = std::move(days.days);
  out.unknown = std::move(days.unknown);
  find_odometer_points(parts, notes, zone, as_of, out);
  return out;
}

std::optional<LocalDay> VanDuty::known_to(DutyCounter counter) const {
  std::optional<LocalDay> out;
  if (!days.empty() && unknown[static_cast<std::size_t>(counter)].empty()) out = days.back().day;
  if (counter == DutyCounter::km && !odometer.empty())
    out = std::max(out.value_or(odometer.back().day), odometer.back().day);
  return out;
}

Amount VanDuty::used_between(LocalDay from, LocalDay to, DutyCounter counter) const {
  Amount sum, all;
  double known = 0, not_known = 0;
  for (const VanDay& day : days) {
    if (day.known) {
      all += day.of(counter);
      ++known;
    }
    if (day.day < from || day.day > to) continue;
    sum += day.of(counter);
    if (!day.known) ++not_known;
  }
  sum += part_of_mean(all, known, not_known);
  return sum;
}

MaybeFigure VanDuty::odometer_known() const {
  if (odometer.empty()) return MaybeFigure::unknown(kNoOdometer);
  const OdometerMark& last = odometer.back();
  Amount since;
  if (unknown[static_cast<std::size_t>(DutyCounter::km)].empty() && !days.empty()) {
    since = used_between(last.day + std::chrono::days{1}, days.back().day, DutyCounter::km);
    // On the day of a note nothing is known of what came after it.
    if (last.note) since.high += used_between(last.day, last.day, DutyCounter::km).high;
  }
  return MaybeFigure::known(
      {last.km + since.value, last.km + since.low, last.km + last.step_km + since.high, 0});
}

MaybeFigure VanDuty::odometer_now() const {
  MaybeFigure out = odometer_known();
  const UseRateOrWhy rate = rate_of(DutyCounter::km);
  const auto known = known_to(DutyCounter::km);
  if (!out.figure || !rate.rate || !known || *known >= today) return out;
  const Figure since = used_in(*rate.rate, static_cast<double>((today - *known).count()));
  out.figure->value += since.value;
  out.figure->low += since.low;
  out.figure->high += since.high;
  out.figure->scatter = since.scatter;
  return out;
}

MaybeFigure VanDuty::odometer_on(LocalDay day) const {
  constexpr auto km = DutyCounter::km;
  constexpr std::chrono::days one{1};
  if (odometer.empty()) return MaybeFigure::unknown(kNoOdometer);
  const bool days_tell = !days.empty() && unknown[static_cast<std::size_t>(km)].empty();
  const auto after = std::ranges::lower_bound(odometer, day, {}, &OdometerMark::day);
  if (after == odometer.end()) {
    const OdometerMark& last = odometer.back();
    const LocalDay known = *known_to(km);
    if (day >= known) {
      MaybeFigure out = odometer_known();
      const UseRateOrWhy rate = rate_of(km);
      if (!rate.rate) return out;
      const Figure since = used_in(*rate.rate, static_cast<double>((day - known).count()));
      return MaybeFigure::known({out.figure->value + since.value, out.figure->low + since.low,
                                 out.figure->high + since.high, since.scatter});
    }
    // Some time on that day: from all of the days before it to all of it, too.
    const Amount before = used_between(last.day + one, day - one, km);
    const Amount with = used_between(last.note ? last.day : last.day + one, day, km);
    const double value = used_between(last.day + one, day, km).value;
    return MaybeFigure::known(
        {last.km + value, last.km + before.low, last.km + last.step_km + with.high, 0});
  }
  if (after->day == day) {
    auto last = after;
    while (last + 1 != odometer.end() && (last + 1)->day == day) ++last;
    // A note of the day is what the odometer said at the work; else its middle.
    for (auto point = after; point <= last; ++point)
      if (point->note)
        return MaybeFigure::known({point->km, point->km, point->km + point->step_km, 0});
    return MaybeFigure::known({(after->km + last->km) / 2, after->km, last->km + last->step_km, 0});
  }
  if (after == odometer.begin()) {
    if (!days_tell || day < days.front().day)
      return MaybeFigure::unknown(fmt::format(
          "no odometer reading is known of {} or before; note it: odometer READING", text_of(day)));
    const Amount most = used_between(day, after->day, km);
    const Amount least = used_between(day + one, after->day - one, km);
    const double value = used_between(day, after->day - one, km).value;
    return MaybeFigure::known({std::max(0.0, after->km - value),
                               std::max(0.0, after->km - most.high),
                               after->km + after->step_km - least.low, 0});
  }
  const OdometerMark &a = *(after - 1), &b = *after;
  const double share =
      static_cast<double>((day - a.day).count()) / static_cast<double>((b.day - a.day).count());
  return MaybeFigure::known(
      {a.km + share * (b.km - a.km), std::min(a.km, b.km), std::max(a.km, b.km) + b.step_km, 0});
}

MaybeFigure VanDuty::used_since(LocalDay day, DutyCounter counter,
                                std::optional<double> then_km) const {
  const MaybeFigure then =
      then_km ? MaybeFigure::known({*then_km, *then_km, *then_km, 0}) : odometer_on(day);
  if (counter == DutyCounter::km && !odometer.empty()) {
    const MaybeFigure now = odometer_known();
    if (then.figure && now.figure) {
      if (now.figure->high < then.figure->low)
        return MaybeFigure::unknown(fmt::format(
            "the odometer was {:.0f} km on {} and is {:.0f} km now: correct the wrong one",
            then.figure->value, text_of(day), now.figure->value));
      return MaybeFigure::known({std::max(0.0, now.figure->value - then.figure->value),
                                 std::max(0.0, now.figure->low - then.figure->high),
                                 now.figure->high - then.figure->low, 0});
    }
    if (days.empty() || day < days.front().day) return then;
  }
  if (days.empty() || (counter == DutyCounter::km && then_km))
    return MaybeFigure::unknown(counter == DutyCounter::km ? kNoOdometer : kNotLogged);
  if (const std::string& why = unknown[static_cast<std::size_t>(counter)]; !why.empty())
    return MaybeFigure::unknown(why);
  const LocalDay first = days.front().day, last = days.back().day;
  Amount sum = used_between(day, last, counter);
  if (day < first) {
    const MaybeFigure begin = odometer_on(first);
    const double km_on_record = used_between(first, last, DutyCounter::km).value;
    if (!then.figure || !begin.figure || !(km_on_record > 0))
      return MaybeFigure::unknown(
          fmt::format("it was fitted before the first day on record, {}, and the odometer at its "
                      "fitting is not known: fitted_km or fitted_miles in fleet.toml, or an "
                      "odometer note of that day",
                      text_of(first)));
    const double before =
        std::max(0.0, begin.figure->value - then.figure->value) * sum.value / km_on_record;
    sum += {before, 0, 2 * before};
  }
  return MaybeFigure::known({sum.value, sum.low, sum.high, 0});
}

std::optional<DueDates> VanDuty::passed_on(LocalDay day, DutyCounter counter, double amount,
                                           std::optional<double> then_km) const {
  if (counter == DutyCounter::km && !odometer.empty()) {
    const MaybeFigure then = odometer_on(day);
    if (!then_km && !then.figure) return std::nullopt;
    const double start_km = then_km.value_or(then.figure ? then.figure->value : 0);
    LocalDay before = day;
    double before_km = start_km;
    for (const OdometerMark& mark : odometer) {
      if (mark.day < day) continue;
      if (mark.km >= start_km + amount) {
        const double share =
            mark.km > before_km ? (start_km + amount - before_km) / (mark.km - before_km) : 0;
        const auto later = static_cast<double>((mark.day - before).count()) * share;
        return DueDates{before + std::chrono::days{std::lround(later)}, before, mark.day};
      }
      before = mark.day;
      before_km = mark.km;
    }
    // By what was driven behind the last reading.
    const auto known = known_to(counter);
    return DueDates{*known, before, *known};
  }
  if (days.empty()) return std::nullopt;
  double sum = 0;
  // What was used before the first day on record.
  if (day < days.front().day) {
    const MaybeFigure all = used_since(day, counter, then_km);
    if (!all.figure) return std::nullopt;
    sum = all.figure->value - used_between(day, days.back().day, counter).value;
    if (sum >= amount) return DueDates{days.front().day, day, days.front().day};
  }
  for (const VanDay& one : days) {
    if (one.day < day) continue;
    sum += one.of(counter).value;
    if (sum >= amount) return DueDates{one.day, one.day, one.day};
  }
  return DueDates{days.back().day, day, days.back().day};
}

UseRateOrWhy VanDuty::rate_of(DutyCounter counter) const {
  UseRateOrWhy out = rate_on_record(counter);
  const auto known = known_to(counter);
  if (out.rate && known && *known + kRateHolds < today)
    return {std::nullopt,
            fmt::format("the last that is known is of {}, more than a year ago: too old to tell; "
                        "note the odometer, or import the next card",
                        text_of(*known))};
  return out;
}

UseRateOrWhy VanDuty::rate_on_record(DutyCounter counter) const {
  const std::string& why = unknown[static_cast<std::size_t>(counter)];
  std::vector<double> daily;
  std::optional<LocalDay> last;
  for (const VanDay& day : days) {
    if (!day.known) continue;
    daily.push_back(day.of(counter).value);
    last = day.day;
  }
  const bool by_readings =
      counter == DutyCounter::km &&
      (days.empty() || !why.empty() ||
       (odometer.size() > 1 && (daily.size() < static_cast<std::size_t>(kLeastUseDays) ||
                                odometer.back().day > *last + kNotesTellMore)));
  if (by_readings) {
    std::vector<CounterReading> readings;
    for (const OdometerMark& point : odometer)
      readings.push_back({point.day, point.km, point.step_km});
    return use_rate_of_readings(readings);
  }
  if (days.empty()) return {std::nullopt, kNotLogged};
  if (!why.empty()) return {std::nullopt, why};
  return use_rate_of_days(daily, *last);
}

}  // namespace packmile
