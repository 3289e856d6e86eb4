#include "ledger/seen_days.hpp"

#include <algorithm>
#include <chrono>
#include <map>

namespace packmile {
namespace {

double hours_between(UtcTime from, UtcTime to) {
  return std::chrono::duration<double, std::ratio<3600>>(to - from).count();
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

}  // namespace packmile
