#include "ledger/seen_days.hpp"

#include <algorithm>
#include <chrono>
#include <map>

#include "energy/slow_signals.hpp"

namespace packmile {
namespace {

double hours_between(UtcTime from, UtcTime to) {
  return std::chrono::duration<double, std::ratio<3600>>(to - from).count();
}

// A reading lies somewhere in its step of 0.1 km.
Figure gained_km(double from_km, double to_km) {
  const double km = to_km - from_km;
  return {km, std::max(0.0, km - kOdometerStepKm), km + kOdometerStepKm, 0};
}

}  // namespace

std::vector<SeenDay> seen_days(const VanParts& parts, UtcTime from, UtcTime to, const Zone& zone) {
  // By the first instant of the day.
  std::map<UtcTime, SeenDay> days;
  const auto add = [&](const auto& row) {
    if (row.start_doubt.boundless() || row.coverage <= 0) return;
    UtcTime at = std::max(row.start, from);
    const UtcTime end = std::min(row.end, to);
    while (at < end) {
      const Zone::Day day = zone.day_of(at);
      const UtcTime until = std::min(day.to, end);
      SeenDay& seen = days[day.from];
      seen.awake_hours += hours_between(at, until);
      seen.seen_hours += hours_between(at, until) * row.coverage;
      at = until;
    }
  };
  for (const Trip& trip : parts.trips) add(trip);
  for (const ChargeSession& session : parts.sessions)
    if (session.source == SessionSource::measured) add(session);
  for (const Stand& stand : parts.stands) add(stand);

  std::vector<SeenDay> out;
  if (days.empty()) return out;
  for (UtcTime at = days.begin()->first; at < to;) {
    const Zone::Day day = zone.day_of(at);
    const auto known = days.find(day.from);
    out.push_back(known == days.end() ? SeenDay{} : known->second);
    out.back().day = zone.day(day.from);
    at = day.to;
  }
  return out;
}

std::vector<SilentDays> silent_days(const std::vector<SeenDay>& days, const TraceLines& trace,
                                    const Zone& zone) {
  std::vector<SilentDays> out;
  for (std::size_t k = 0; k < days.size();) {
    std::size_t end = k;
    while (end < days.size() && days[end].seen_hours <= 0) ++end;
    if (end - k < kLeastSilentDays) {
      k = end + 1;
      continue;
    }
    SilentDays silent{days[k].day, days[end - 1].day, end - k,
                      MaybeFigure::unknown("the odometer was not read on both sides")};
    const OdometerReading *before = nullptr, *behind = nullptr;
    for (const OdometerReading& reading : trace.odometer) {
      const std::string day = zone.day(reading.time);
      if (day < silent.first) before = &reading;
      if (day > silent.last && behind == nullptr) behind = &reading;
    }
    if (before != nullptr && behind != nullptr)
      silent.km = MaybeFigure::known(gained_km(before->odometer_km, behind->odometer_km));
    out.push_back(std::move(silent));
    k = end + 1;
  }
  return out;
}

std::size_t odometer_falls(const TraceLines& trace, const Period& period) {
  std::size_t falls = 0;
  const OdometerReading* before = nullptr;
  for (const OdometerReading& reading : trace.odometer) {
    if (!period.holds(reading.time)) continue;
    falls += before != nullptr && reading.odometer_km < before->odometer_km;
    before = &reading;
  }
  return falls;
}

}  // namespace packmile
