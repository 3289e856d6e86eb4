#include "cli/as_of.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>

namespace packmile::cli {
namespace {

void take_day(const std::chrono::local_days& day, const Zone& zone, std::optional<UtcTime>& last) {
  const std::chrono::year_month_day date{day};
  const auto at = zone.read(fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                                        static_cast<unsigned>(date.month()),
                                        static_cast<unsigned>(date.day())));
  if (at && (!last || *at > *last)) last = *at;
}

// The last day that the owner named.
std::optional<UtcTime> last_day_of(const Fleet& fleet) {
  std::optional<UtcTime> last;
  for (const FleetVan& van : fleet.vans)
    if (van.purchase) take_day(std::chrono::local_days{van.purchase->day}, fleet.zone, last);
  for (const FleetPart& part : fleet.parts)
    if (part.fitted) take_day(*part.fitted, fleet.zone, last);
  return last;
}

}  // namespace

AsOfOr find_as_of(Asked& asked, const std::optional<std::string>& option) {
  const Zone& zone = asked.zone();
  if (option) {
    const auto at = zone.read(*option);
    if (!at) return {std::nullopt, wrong_usage("--as-of: " + at.error().what, at.error().hint)};
    // A day is meant to its end: what was noted on it counts.
    const bool is_day = option->find('T') == std::string::npos;
    const UtcTime moment = is_day ? zone.day_of(*at).to - std::chrono::milliseconds{1} : *at;
    return {AsOf{moment, zone.day(*at) + " (--as-of)"}, ExitCode::done};
  }
  std::optional<UtcTime> last;
  const auto take = [&last](UtcTime at) {
    if (!last || at > *last) last = at;
  };
  for (const AskedVan& van : asked.all) {
    if (van.id) {
      const auto covered = asked.open.ledger.covered(*van.id);
      if (!covered) {
        say(covered.error());
        return {};
      }
      if (covered->to) take(*covered->to);
    }
    const auto notes = asked.open.ledger.notes_of(van.names.van);
    if (!notes) {
      say(notes.error());
      return {};
    }
    for (const Note& note : *notes)
      take(note.when.is_day() ? note.when.to - std::chrono::milliseconds{1} : note.when.from);
  }
  if (last)
    return {AsOf{*last, zone.day(*last) + " (the last moment in archive and notes)"},
            ExitCode::done};
  if (const auto day = last_day_of(asked.open.depot.fleet))
    return {AsOf{*day, zone.day(*day) + " (the last day in fleet.toml: the depot holds no data)"},
            ExitCode::done};
  const auto now = std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
  return {AsOf{now, zone.day(now) + " (this machine's clock: the depot holds no data)"},
          ExitCode::done};
}

}  // namespace packmile::cli
