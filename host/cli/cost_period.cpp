#include "cli/cost_period.hpp"

#include <algorithm>

namespace packmile::cli {
namespace {

// The first moment on record of one van; absent: there is none.
std::optional<UtcTime> first_moment(const VanMoney& van) {
  std::optional<UtcTime> first;
  const auto take = [&](UtcTime at) { first = std::min(first.value_or(at), at); };
  const auto take_rows = [&](const auto& rows) {
    for (const auto& row : rows)
      if (!row.start_doubt.boundless()) take(row.start);
  };
  const auto take_notes = [&](const auto& notes) {
    for (const auto& note : notes) take(note.when.from);
  };
  take_rows(van.parts.trips);
  take_rows(van.parts.sessions);
  take_notes(van.notes.odometer);
  take_notes(van.notes.meter);
  take_notes(van.notes.receipts);
  take_notes(van.notes.jobs);
  take_notes(van.notes.off_road);
  return first;
}

}  // namespace

std::optional<std::pair<UtcTime, UtcTime>> whole_period(const Asked& asked, UtcTime today,
                                                        const std::vector<VanMoney>& vans) {
  std::optional<UtcTime> from = asked.period.from;
  if (!from) {
    for (const VanMoney& van : vans)
      if (const auto first = first_moment(van)) from = std::min(from.value_or(*first), *first);
    if (!from) return std::nullopt;
    from = asked.zone().day_of(*from).from;
  }
  const UtcTime to = asked.period.to.value_or(asked.zone().day_of(today).to);
  if (*from >= to) return std::nullopt;
  return std::pair{*from, to};
}

Result<std::vector<OwnedSpan>> owned_spans(Asked& asked) {
  const Fleet& fleet = asked.open.depot.fleet;
  std::vector<OwnedSpan> out;
  for (const FleetVan& van : fleet.vans) {
    const auto notes = van_notes(asked.open.ledger, van.name);
    if (!notes) return notes.error();
    out.push_back(owned_of({van.name, van.vin}, *notes, fleet));
  }
  return out;
}

}  // namespace packmile::cli
