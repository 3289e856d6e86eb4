#include "cli/van_evidence.hpp"

#include "cli/cost_period.hpp"

namespace packmile::cli {
namespace {

constexpr char kNoCost[] = "nothing is on record in this period";

}  // namespace

Result<std::vector<VanGathered>> gather_vans(Asked& asked, const AsOf& as_of) {
  const Fleet& fleet = asked.open.depot.fleet;
  std::vector<VanGathered> out;
  for (const AskedVan& van : asked.all) {
    auto record = on_record(asked, van);
    if (!record) return record.error();
    std::vector<CapacityRow> capacity;
    if (van.id) {
      auto read = asked.open.ledger.capacity(*van.id);
      if (!read) return read.error();
      capacity = std::move(*read);
    }
    VanDuty duty = duty_of(record->parts, record->notes, asked.zone(), as_of.at);
    const FleetVan* known = fleet.van_of_name(van.names.van);
    VanKeep keep =
        keep_van(fleet.keep_of(van.names.van), known != nullptr ? known->annual_km : std::nullopt,
                 duty, record->parts.trips, capacity, asked.zone(), fleet.currency);
    out.push_back({van,
                   van_money(van.names, std::move(record->parts), std::move(record->notes), fleet),
                   std::move(duty), std::move(capacity), std::move(keep)});
  }
  return out;
}

Result<Comparison> compare_gathered(Asked& asked, const AsOf& as_of,
                                    const std::vector<VanGathered>& vans) {
  const Fleet& fleet = asked.open.depot.fleet;
  const auto sharing = owned_spans(asked);
  if (!sharing) return sharing.error();
  std::vector<VanToCompare> list;
  std::vector<VanMoney> money;
  for (const VanGathered& van : vans) {
    list.push_back({van.van.names, van.money.parts, van.keep, MaybeFigure::unknown(kNoCost),
                    equivalent_years_of(van.duty)});
    money.push_back(van.money);
  }
  if (const auto period = whole_period(asked, as_of.at, money))
    for (std::size_t k = 0; k < list.size(); ++k) {
      VanCost cost = cost_of(cost_input(money[k], fleet, *sharing), period->first, period->second);
      list[k].narrower_cost = narrower_by(cost);
      list[k].cost_per_mile = std::move(cost.cost_per_mile);
      for (LeftOut& one : cost.not_included) list[k].not_included.push_back(std::move(one.word));
    }
  Comparison comparison = compare(list, asked.period, asked.zone());
  comparison.currency = fleet.currency;
  return comparison;
}

Result<VanUpkeep> upkeep_of_van(Asked& asked, const AskedVan& van, const VanDuty& duty,
                                const VanNotes& notes) {
  std::vector<TripBraking> braking;
  if (van.id) {
    auto read = asked.open.ledger.braking(*van.id);
    if (!read) return read.error();
    braking = std::move(*read);
  }
  return upkeep_of(asked.open.depot.fleet, van.names, duty, notes, braking);
}

Result<std::vector<CapacityRow>> capacity_of_van(Asked& asked, const AskedVan& van) {
  if (!van.id)
    return capacity_unseen(facts_of(asked.open.depot.fleet, van.names),
                           expectation_of(asked.open.depot.fleet, van.names), asked.zone());
  auto list = asked.open.ledger.capacity(*van.id);
  if (!list) return list.error();
  return capacity_in(std::move(*list), asked.period);
}

Result<FadeOfVan> fade_of_van(Asked& asked, const AskedVan& van) {
  FadeOfVan out;
  if (van.id) {
    auto read = asked.open.ledger.fade(*van.id);
    if (!read) return read.error();
    out.source = std::move(*read);
  }
  out.facts = pack_facts_of(facts_of(asked.open.depot.fleet, van.names),
                            expectation_of(asked.open.depot.fleet, van.names), {}, asked.zone());
  out.rows = fade_in(out.source, asked.period, out.facts, asked.zone());
  return out;
}

}  // namespace packmile::cli
