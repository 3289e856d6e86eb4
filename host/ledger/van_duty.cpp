#include "ledger/van_duty.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>

namespace packmile {
namespace {

constexpr double kMsPerHourOfDuty = 3'600'000;
constexpr double kVanStepKm = 0.1;  // of the odometer word
// Longer than any silence between cards; a clock that jumps would make millions.
constexpr std::int64_t kMostDutyDays = 40'000;
// Readings that are so much newer than the last day on record tell more.
constexpr std::chrono::days kNotesTellMore{28};

constexpr char kNotLogged[] =
    "this is counted by a logger, and no card of this van is in the archive";

// Not heard: the odometer moved across a silence, in one drive or in several.
bool was_heard(const Trip& trip) { return trip.coverage > 0 || trip.moving_kmh; }

using Days = std::map<LocalDay, VanDay>;

Amount amount_of(const MaybeFigure& figure, double share = 1) {
  if (!figure.figure) return {};
  const Figure& f = *figure.figure;
  return {f.value * share, f.low * share, f.high * share};
}

Amount exactly(double value) { return {value, value, value}; }

class Spread {
 public:
  Spread(const Zone& zone, UtcTime as_of, Days& days) : zone_(zone), as_of_(as_of), days_(days) {}

  [[nodiscard]] LocalDay day(UtcTime at) {
    // Rows come in order of time: most are of the day before them.
    if (!(at >= known_.from && at < known_.to)) {
      known_ = zone_.day_of(at);
      known_day_ = local_day(zone_, at);
    }
    return known_day_;
  }
  void add(UtcTime start, DutyCounter counter, const Amount& amount) {
    days_[day(start)].used[static_cast<std::size_t>(counter)] += amount;
  }
  // Over the days that the row touches.
  void add_evenly(UtcTime start, UtcTime end, DutyCounter counter, const Amount& amount) {
    const LocalDay first = day(start), last = day(std::max(start, std::min(end, as_of_)));
    const std::int64_t count = std::min((last - first).count() + 1, kMostDutyDays);
    const auto share = 1.0 / static_cast<double>(count);
    for (std::int64_t k = 0; k < count; ++k)
      days_[first + std::chrono::days{k}].used[static_cast<std::size_t>(counter)] +=
          {amount.value * share, amount.low * share, amount.high * share};
  }

 private:
  const Zone& zone_;
  UtcTime as_of_;
  Days& days_;
  Zone::Day known_{};
  LocalDay known_day_{};
};

// Hours of moving; what was driven unseen moved at the mean of what was seen, for
// nothing less than nothing and at most twice as long.
void add_motor_hours(const std::vector<Trip>& trips, UtcTime as_of, Spread& spread) {
  double km = 0, hours = 0;
  for (const Trip& trip : trips) {
    if (trip.start > as_of || !trip.moving_kmh || !(*trip.moving_kmh > 0) ||
        !trip.distance_km.figure)
      continue;
    km += trip.distance_km.figure->value;
    hours += trip.distance_km.figure->value / *trip.moving_kmh;
  }
  const double kmh = hours > 0 ? km / hours : 0;
  for (const Trip& trip : trips) {
    if (trip.start > as_of || !trip.distance_km.figure) continue;
    const double distance = trip.distance_km.figure->value;
    if (trip.moving_kmh && *trip.moving_kmh > 0) {
      spread.add(trip.start, DutyCounter::motor_hours, exactly(distance / *trip.moving_kmh));
    } else if (kmh > 0) {
      const double guess = distance / kmh;
      spread.add_evenly(trip.start, trip.end, DutyCounter::motor_hours, {guess, 0, 2 * guess});
    }
  }
}

// Energy of a row; where it is not known, what the others took a km, between
// nothing and twice that.
void add_trip_energy(const std::vector<Trip>& trips, UtcTime as_of, Spread& spread) {
  double km = 0, kwh = 0;
  const auto through = [](const Trip& trip) {
    Amount out = amount_of(trip.discharge_kwh);
    out += amount_of(trip.regen_kwh);
    if (trip.filled_kwh.figure) {
      const Amount filled = amount_of(trip.filled_kwh);
      out += filled.value >= 0 ? filled : Amount{-filled.value, -filled.high, -filled.low};
    }
    return out;
  };
  const auto known = [](const Trip& trip) {
    return trip.discharge_kwh.figure && trip.regen_kwh.figure;
  };
  for (const Trip& trip : trips) {
    if (trip.start > as_of || !known(trip) || !trip.distance_km.figure) continue;
    km += trip.distance_km.figure->value;
    kwh += through(trip).value;
  }
  for (const Trip& trip : trips) {
    if (trip.start > as_of) continue;
    Amount amount;
    if (known(trip)) {
      amount = through(trip);
    } else if (km > 0 && trip.distance_km.figure) {
      const double guess = trip.distance_km.figure->value * kwh / km;
      amount = {guess, 0, 2 * guess};
    }
    for (const DutyCounter counter : {DutyCounter::motor_kwh, DutyCounter::pack_kwh})
      spread.add_evenly(trip.start, trip.end, counter, amount);
  }
}

void add_session(const ChargeSession& session, Spread& spread) {
  spread.add(session.start, DutyCounter::starts, exactly(1));
  const Amount kwh = amount_of(session.pack_kwh);
  spread.add(session.start, DutyCounter::pack_kwh, kwh);
  double hours = 0;
  for (const double band : session.band_hours) hours += band;
  const double length =
      static_cast<double>((session.end - session.start).count()) / kMsPerHourOfDuty;
  switch (session.kind) {
    case ChargeKind::ac:
      spread.add(session.start, DutyCounter::charger_kwh, kwh);
      // Of one that nobody saw the end is when it was seen next.
      spread.add(session.start, DutyCounter::charger_hours,
                 session.coverage > 0 ? Amount{hours, hours, std::max(hours, length)}
                                      : Amount{length / 2, 0, length});
      break;
    case ChargeKind::dc:
      break;
    case ChargeKind::unknown:
      spread.add(session.start, DutyCounter::charger_kwh, {kwh.value / 2, 0, kwh.high});
      spread.add(session.start, DutyCounter::charger_hours,
                 {std::max(hours, length / 2) / 2, 0, std::max(hours, length)});
      break;
  }
}

std::vector<OdometerMark> odometer_points(const VanParts& parts, const VanNotes& notes,
                                          const Zone& zone, UtcTime as_of) {
  std::vector<OdometerMark> out;
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
  for (const OdometerNote& note : notes.odometer)
    if (note.when.from <= as_of)
      out.push_back({local_day(zone, note.when.from), note.km, note.step_km, note.id});
  std::ranges::stable_sort(out, {}, [](const OdometerMark& p) { return std::pair{p.day, p.km}; });
  return out;
}

}  // namespace

Amount& Amount::operator+=(const Amount& other) {
  value += other.value;
  low += other.low;
  high += other.high;
  return *this;
}

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
  Days days;
  Spread spread{zone, as_of, days};
  for (const Trip& trip : parts.trips) {
    if (trip.start > as_of) continue;
    // One that nobody saw may have been many.
    if (was_heard(trip))
      spread.add(trip.start, DutyCounter::starts, exactly(1));
    else
      spread.add(trip.start, DutyCounter::starts, {1, 1, 2});
    const Amount km = amount_of(trip.distance_km);
    if (was_heard(trip))
      spread.add(trip.start, DutyCounter::km, km);
    else
      spread.add_evenly(trip.start, trip.end, DutyCounter::km, km);
  }
  add_motor_hours(parts.trips, as_of, spread);
  add_trip_energy(parts.trips, as_of, spread);
  for (const ChargeSession& session : parts.sessions)
    if (session.start <= as_of) add_session(session, spread);
  for (const Stand& stand : parts.stands) {
    if (stand.start > as_of) continue;
    spread.add(stand.start, DutyCounter::pack_kwh, amount_of(stand.discharge_kwh));
    spread.add(stand.start, DutyCounter::pack_kwh, amount_of(stand.charge_kwh));
  }
  if (!days.empty()) {
    const LocalDay first = days.begin()->first, last = days.rbegin()->first;
    const std::int64_t count = (last - first).count() + 1;
    if (count <= kMostDutyDays) {
      for (std::int64_t k = 0; k < count; ++k) {
        const LocalDay day = first + std::chrono::days{k};
        const auto found = days.find(day);
        out.days.push_back(found == days.end() ? VanDay{} : found->second);
        out.days.back().day = day;
      }
    }
  }
  out.odometer = odometer_points(parts, notes, zone, as_of);
  if (!out.odometer.empty()) {
    // On the day of the last point nothing is known of what came after it.
    const OdometerMark& last = out.odometer.back();
    for (const VanDay& day : out.days) {
      if (day.day > last.day) out.km_since_odometer += day.used[0];
      if (day.day == last.day && last.note) out.km_since_odometer.high += day.used[0].high;
    }
  }
  return out;
}

MaybeFigure VanDuty::odometer_now() const {
  if (odometer.empty())
    return MaybeFigure::unknown("the odometer is not known; note it: odometer READING");
  const OdometerMark& last = odometer.back();
  return MaybeFigure::known({last.km + km_since_odometer.value, last.km + km_since_odometer.low,
                             last.km + last.step_km + km_since_odometer.high, 0});
}

MaybeFigure VanDuty::odometer_on(LocalDay day) const {
  if (odometer.empty())
    return MaybeFigure::unknown("the odometer is not known; note it: odometer READING");
  const auto after = std::ranges::lower_bound(odometer, day, {}, &OdometerMark::day);
  if (after == odometer.end()) return odometer_now();
  if (after->day == day) {
    auto last = after;
    while (last + 1 != odometer.end() && (last + 1)->day == day) ++last;
    // A note of the day is what the odometer said at the work; else its middle.
    for (auto point = after; point <= last; ++point)
      if (point->note)
        return MaybeFigure::known({point->km, point->km, point->km + point->step_km, 0});
    return MaybeFigure::known({(after->km + last->km) / 2, after->km, last->km + last->step_km, 0});
  }
  if (after == odometer.begin())
    return MaybeFigure::unknown(fmt::format(
        "no odometer reading is known of {} or before; note it: odometer READING", text_of(day)));
  const OdometerMark &a = *(after - 1), &b = *after;
  const double share =
      static_cast<double>((day - a.day).count()) / static_cast<double>((b.day - a.day).count());
  return MaybeFigure::known(
      {a.km + share * (b.km - a.km), std::min(a.km, b.km), std::max(a.km, b.km) + b.step_km, 0});
}

MaybeFigure VanDuty::used_since(LocalDay day, DutyCounter counter) const {
  if (counter == DutyCounter::km && !odometer.empty()) {
    const MaybeFigure then = odometer_on(day), now = odometer_now();
    if (then.figure && now.figure)
      return MaybeFigure::known({now.figure->value - then.figure->value,
                                 std::max(0.0, now.figure->low - then.figure->high),
                                 now.figure->high - then.figure->low, 0});
    if (days.empty() || day < days.front().day) return then;
  }
  if (days.empty())
    return MaybeFigure::unknown(counter == DutyCounter::km
                                    ? "the odometer is not known; note it: odometer READING"
                                    : kNotLogged);
  Amount sum, all;
  double km_on_record = 0;
  for (const VanDay& one : days) {
    const Amount& amount = one.used[static_cast<std::size_t>(counter)];
    all += amount;
    km_on_record += one.used[0].value;
    if (one.day >= day) sum += amount;
  }
  if (day < days.front().day) {
    const MaybeFigure then = odometer_on(day), first = odometer_on(days.front().day);
    if (!then.figure || !first.figure || !(km_on_record > 0))
      return MaybeFigure::unknown(
          fmt::format("it was fitted before the first day on record, {}, and the odometer at its "
                      "fitting is not known: fitted_km or fitted_miles in fleet.toml, or an "
                      "odometer note of that day",
                      text_of(days.front().day)));
    const double before = (first.figure->value - then.figure->value) * all.value / km_on_record;
    sum += {before, 0, 2 * before};
  }
  return MaybeFigure::known({sum.value, sum.low, sum.high, 0});
}

UseRateOrWhy VanDuty::rate_of(DutyCounter counter) const {
  const bool by_readings =
      counter == DutyCounter::km &&
      (days.empty() ||
       (odometer.size() > 1 && (days.size() < static_cast<std::size_t>(kLeastUseDays) ||
                                odometer.back().day > days.back().day + kNotesTellMore)));
  if (by_readings) {
    std::vector<CounterReading> readings;
    for (const OdometerMark& point : odometer)
      readings.push_back({point.day, point.km, point.step_km});
    return use_rate_of_readings(readings);
  }
  if (days.empty()) return {std::nullopt, kNotLogged};
  std::vector<double> daily;
  for (const VanDay& day : days) daily.push_back(day.used[static_cast<std::size_t>(counter)].value);
  return use_rate_of_days(daily, days.back().day);
}

}  // namespace packmile
