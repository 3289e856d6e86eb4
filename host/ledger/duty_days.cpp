#include "ledger/duty_days.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

namespace packmile {
namespace {

constexpr double kMsPerHourOfDuty = 3'600'000;
// Longer than any silence between cards; a clock that jumps would make millions.
constexpr std::chrono::days kMostDutyDays{40'000};
// Where fleet.toml has no nominal_kwh: no pack of a van holds more (common practice, no
// source).
constexpr double kLargestVanPackKwh = 150;
// What went out may exceed what came in by so much of it without a charge that was not
// heard: an offset of the current sensor (common practice, no source).
constexpr double kBalanceSlack = 0.1;

constexpr char kChargesUnheard[] =
    "more went out of the pack than was heard to come in: charges were not heard, and none tells "
    "what one is like; leave the logger in while the van charges";

// Not heard: the odometer moved across a silence, in one drive or in several.
bool was_heard(const Trip& trip) { return trip.coverage > 0 || trip.moving_kmh; }

Amount amount_of(const MaybeFigure& figure) {
  if (!figure.figure) return {};
  return {figure.figure->value, figure.figure->low, figure.figure->high};
}

Amount exactly(double value) { return {value, value, value}; }

// Between nothing and twice that.
Amount guessed(double value) { return {value, 0, 2 * value}; }

double hours_between(UtcTime start, UtcTime end) {
  return static_cast<double>(std::max<std::int64_t>((end - start).count(), 0)) / kMsPerHourOfDuty;
}

Amount part_of(const Amount& amount, double share) {
  return {amount.value * share, amount.low * share, amount.high * share};
}

class DayTotals {
 public:
  DayTotals(const VanParts& parts, const Zone& zone, UtcTime as_of)
      : parts_(parts), zone_(zone), as_of_(as_of) {}

  DutyDays total() {
    find_means();
    for (const Trip& trip : parts_.trips)
      if (trip.start <= as_of_) add_trip(trip);
    for (const ChargeSession& session : parts_.sessions)
      if (session.start <= as_of_ && surely_charged(session)) add_session(session);
    for (const Stand& stand : parts_.stands) {
      if (stand.start > as_of_) continue;
      Amount both = amount_of(stand.discharge_kwh);
      net_out_kwh_ += both.value - amount_of(stand.charge_kwh).value;
      both += amount_of(stand.charge_kwh);
      add(stand.start, stand.end, DutyCounter::pack_kwh, both);
    }
    add_unheard_charges();
    list_days();
    return std::move(out_);
  }

 private:
  // Of what was heard; all 0 where nothing was. km_an_hour has the stops in it, kmh has
  // not.
  struct Means {
    double km_a_trip = 0, km_an_hour = 0, kmh = 0, through_kwh_a_km = 0, net_kwh_a_km = 0;
    double kwh_a_charge = 0;  // of every charge whose energy is known
    double ac_kw = 0;         // into the pack
    double ac_share = 0.5;    // of the energy of charges whose kind is known
  };

  void find_means() {
    double trips = 0, trip_km = 0, trip_h = 0, moving_km = 0, moving_h = 0, energy_km = 0,
           through = 0, net = 0;
    for (const Trip& trip : parts_.trips) {
      if (trip.start > as_of_ || !trip.distance_km.figure) continue;
      const double km = trip.distance_km.figure->value;
      if (was_heard(trip)) {
        ++trips;
        trip_km += km;
        trip_h += hours_between(trip.start, trip.end);
      }
      if (trip.moving_kmh && *trip.moving_kmh > 0) {
        moving_km += km;
        moving_h += km / *trip.moving_kmh;
      }
      if (!knows_energy(trip)) continue;
      energy_km += km;
      through += through_of(trip).value;
      net += trip.discharge_kwh.figure->value - trip.regen_kwh.figure->value;
    }
    if (trips > 0) mean_.km_a_trip = trip_km / trips;
    if (trip_h > 0) mean_.km_an_hour = trip_km / trip_h;
    if (moving_h > 0) mean_.kmh = moving_km / moving_h;
    if (energy_km > 0) {
      mean_.through_kwh_a_km = through / energy_km;
      mean_.net_kwh_a_km = net / energy_km;
    }
    double charges = 0, kwh = 0, ac_kwh = 0, dc_kwh = 0, timed_kwh = 0, timed_h = 0;
    for (const ChargeSession& session : parts_.sessions) {
      if (session.start > as_of_ || !session.pack_kwh.figure || !surely_charged(session)) continue;
      const double one = session.pack_kwh.figure->value;
      ++charges;
      kwh += one;
      if (session.kind == ChargeKind::dc) dc_kwh += one;
      if (session.kind != ChargeKind::ac) continue;
      ac_kwh += one;
      if (const double hours = hours_of(session); hours > 0) {
        timed_kwh += one;
        timed_h += hours;
      }
    }
    if (charges > 0) mean_.kwh_a_charge = kwh / charges;
    if (timed_h > 0) mean_.ac_kw = timed_kwh / timed_h;
    if (ac_kwh + dc_kwh > 0) mean_.ac_share = ac_kwh / (ac_kwh + dc_kwh);
  }

  static bool knows_energy(const Trip& trip) {
    return trip.discharge_kwh.figure && trip.regen_kwh.figure;
  }
  static Amount through_of(const Trip& trip) {
    Amount out = amount_of(trip.discharge_kwh);
    out += amount_of(trip.regen_kwh);
    if (trip.filled_kwh.figure) {
      const Amount filled = amount_of(trip.filled_kwh);
      out += filled.value >= 0 ? filled : Amount{-filled.value, -filled.high, -filled.low};
    }
    return out;
  }
  static double hours_of(const ChargeSession& session) {
    double hours = 0;
    for (const double band : session.band_hours) hours += band;
    return hours;
  }

  void not_known(DutyCounter counter, const std::string& why) {
    std::string& known = out_.unknown[static_cast<std::size_t>(counter)];
    if (known.empty()) known = why.empty() ? "it was not told" : why;
  }

  // Over start..end, as far as that is not behind as_of.
  void add(UtcTime start, UtcTime end, DutyCounter counter, const Amount& amount) {
    const auto at = static_cast<std::size_t>(counter);
    if (end <= start || end - start > kMostDutyDays) {
      days_[day(start)].used[at] += amount;
      return;
    }
    const auto length = static_cast<double>((end - start).count());
    const UtcTime until = std::min(end, as_of_);
    for (UtcTime from = start; from < until;) {
      const LocalDay local = day(from);
      const UtcTime to = std::min(until, known_.to);
      days_[local].used[at] += part_of(amount, static_cast<double>((to - from).count()) / length);
      from = to;
    }
  }
  [[nodiscard]] LocalDay day(UtcTime at) {
    // Rows come in order of time: most are of the day before them.
    if (!(at >= known_.from && at < known_.to)) {
      known_ = zone_.day_of(at);
      known_day_ = local_day(zone_, at);
    }
    return known_day_;
  }

  void add_trip(const Trip& trip) {
    Amount distance = amount_of(trip.distance_km);
    // Of a drive without speed and odometer its time tells something.
    if (!trip.distance_km.figure)
      distance = guessed(hours_between(trip.start, trip.end) * mean_.km_an_hour);
    const double km = distance.value;
    if (trip.distance_km.figure || mean_.km_an_hour > 0)
      add(trip.start, trip.end, DutyCounter::km, distance);
    else
      not_known(DutyCounter::km, trip.distance_km.why);
    if (was_heard(trip)) {
      add(trip.start, trip.start, DutyCounter::starts, exactly(1));
    } else if (mean_.km_a_trip > 0) {
      const double drives = std::max(1.0, km / mean_.km_a_trip);
      add(trip.start, trip.end, DutyCounter::starts, {drives, 1, 2 * drives});
    } else {
      not_known(DutyCounter::starts, "no drive of this van was heard, only how far it went");
    }
    if (trip.distance_km.figure && trip.moving_kmh && *trip.moving_kmh > 0)
      add(trip.start, trip.end, DutyCounter::motor_hours, exactly(km / *trip.moving_kmh));
    else if (mean_.kmh > 0)
      add(trip.start, trip.end, DutyCounter::motor_hours, guessed(km / mean_.kmh));
    else
      not_known(DutyCounter::motor_hours,
                "the van does not answer its speed: how long it moved is not known");
    Amount through = guessed(km * mean_.through_kwh_a_km);
    double net = km * mean_.net_kwh_a_km;
    if (knows_energy(trip)) {
      through = through_of(trip);
      net = trip.discharge_kwh.figure->value - trip.regen_kwh.figure->value +
            amount_of(trip.filled_kwh).value;
    } else if (!(mean_.through_kwh_a_km > 0)) {
      not_known(DutyCounter::motor_kwh, trip.discharge_kwh.why);
      not_known(DutyCounter::pack_kwh, trip.discharge_kwh.why);
    }
    net_out_kwh_ += net * share_before(trip.start, trip.end);
    for (const DutyCounter counter : {DutyCounter::motor_kwh, DutyCounter::pack_kwh})
      add(trip.start, trip.end, counter, through);
  }

  [[nodiscard]] double share_before(UtcTime start, UtcTime end) const {
    if (end <= as_of_ || end <= start) return 1;
    return static_cast<double>((as_of_ - start).count()) /
           static_cast<double>((end - start).count());
  }

  void add_session(const ChargeSession& session) {
    add(session.start, session.start, DutyCounter::starts, exactly(1));
    Amount kwh = amount_of(session.pack_kwh);
    if (!session.pack_kwh.figure) {
      kwh = guessed(mean_.kwh_a_charge);
      if (!(mean_.kwh_a_charge > 0)) {
        not_known(DutyCounter::pack_kwh, session.pack_kwh.why);
        if (session.kind != ChargeKind::dc)
          not_known(DutyCounter::charger_kwh, session.pack_kwh.why);
      }
    }
    net_out_kwh_ -= kwh.value * share_before(session.start, session.end);
    add(session.start, session.end, DutyCounter::pack_kwh, kwh);
    if (session.kind == ChargeKind::dc) return;
    const double length = hours_between(session.start, session.end);
    // What was not heard ended at some moment of a silence that may be long.
    Amount hours{length / 2, 0, length};
    if (session.coverage > 0)
      hours = {hours_of(session), hours_of(session), std::max(hours_of(session), length)};
    else if (mean_.ac_kw > 0)
      hours = {std::min(length, kwh.value / mean_.ac_kw), 0,
               std::min(length, 2 * kwh.high / mean_.ac_kw)};
    if (session.kind == ChargeKind::unknown) {
      // It may have been fast charging, which takes another way.
      kwh = {kwh.value * mean_.ac_share, 0, kwh.high};
      hours = {hours.value * mean_.ac_share, 0, hours.high};
    }
    add(session.start, session.end, DutyCounter::charger_kwh, kwh);
    add(session.start, session.end, DutyCounter::charger_hours, hours);
  }

  // What must have come in and was not heard, spread like the distance.
  void add_unheard_charges() {
    const double pack_kwh = parts_.facts.nominal_kwh.value_or(kLargestVanPackKwh);
    double km = 0, out_kwh = 0;
    for (const Trip& trip : parts_.trips) {
      if (trip.start > as_of_) continue;
      km += amount_of(trip.distance_km).value * share_before(trip.start, trip.end);
      out_kwh += amount_of(trip.discharge_kwh).value;
    }
    const double unheard = net_out_kwh_;
    if (!(km > 0) || !(unheard > pack_kwh + kBalanceSlack * out_kwh)) return;
    if (!(mean_.kwh_a_charge > 0)) {
      for (const DutyCounter counter : {DutyCounter::charger_kwh, DutyCounter::charger_hours,
                                        DutyCounter::pack_kwh, DutyCounter::starts})
        not_known(counter, kChargesUnheard);
      return;
    }
    if (!(mean_.ac_kw > 0)) not_known(DutyCounter::charger_hours, kChargesUnheard);
    const double least = unheard - pack_kwh, most = unheard + pack_kwh;
    const double charges = unheard / mean_.kwh_a_charge;
    const double hours = mean_.ac_kw > 0 ? 1 / mean_.ac_kw : 0;
    const std::array<std::pair<DutyCounter, Amount>, 4> amounts{
        {{DutyCounter::pack_kwh, {unheard, least, most}},
         {DutyCounter::charger_kwh, {unheard * mean_.ac_share, 0, most}},
         {DutyCounter::charger_hours, {unheard * mean_.ac_share * hours, 0, 2 * most * hours}},
         {DutyCounter::starts, {charges, least / pack_kwh, 2 * charges}}}};
    for (const Trip& trip : parts_.trips) {
      if (trip.start > as_of_) continue;
      const double share = amount_of(trip.distance_km).value / km;
      for (const auto& [counter, amount] : amounts)
        add(trip.start, trip.end, counter, part_of(amount, share));
    }
  }

  // First and last local day that anything is known of, and which between them.
  void list_days() {
    std::vector<std::pair<LocalDay, LocalDay>> logged;
    const auto take = [&](UtcTime from, UtcTime to) {
      if (from > as_of_ || to < from || to - from > kMostDutyDays) return;
      logged.emplace_back(day(from), day(std::min(to, as_of_)));
    };
    for (const CardUse& card : parts_.cards)
      if (card.from && card.to) take(*card.from, *card.to);
    const bool cards_known = !logged.empty();
    for (const Trip& trip : parts_.trips) take(trip.start, trip.end);
    for (const ChargeSession& session : parts_.sessions) take(session.start, session.end);
    for (const Stand& stand : parts_.stands) take(stand.start, stand.end);
    // Between two of its words the odometer tells whether the van was driven.
    const auto& words = parts_.trace.odometer;
    if (!words.empty() && words.front().time <= as_of_) {
      const auto behind = std::ranges::upper_bound(words, as_of_, {}, &OdometerReading::time);
      if (behind != words.begin()) take(words.front().time, (behind - 1)->time);
    }
    if (!days_.empty()) {
      logged.emplace_back(days_.begin()->first, days_.begin()->first);
      logged.emplace_back(days_.rbegin()->first, days_.rbegin()->first);
    }
    if (logged.empty()) return;
    std::ranges::sort(logged);
    const LocalDay first = logged.front().first;
    LocalDay last = first;
    for (const auto& [from, to] : logged) last = std::max(last, to);
    if (last - first > kMostDutyDays) return;
    LocalDay known_to = first - std::chrono::days{1};
    std::size_t next = 0;
    for (LocalDay at = first; at <= last; at += std::chrono::days{1}) {
      for (; next < logged.size() && logged[next].first <= at; ++next)
        known_to = std::max(known_to, logged[next].second);
      const auto found = days_.find(at);
      VanDay one = found == days_.end() ? VanDay{} : found->second;
      one.day = at;
      one.known = !cards_known || at <= known_to;
      out_.days.push_back(one);
    }
  }

  const VanParts& parts_;
  const Zone& zone_;
  UtcTime as_of_;
  std::map<LocalDay, VanDay> days_;
  Zone::Day known_{};
  LocalDay known_day_{};
  Means mean_;
  double net_out_kwh_ = 0;  // of all that is added
  DutyDays out_;
};

}  // namespace

Amount& Amount::operator+=(const Amount& other) {
  value += other.value;
  low += other.low;
  high += other.high;
  return *this;
}

DutyDays duty_days_of(const VanParts& parts, const Zone& zone, UtcTime as_of) {
  return DayTotals{parts, zone, as_of}.total();
}

}  // namespace packmile
