#include "cli/report_tables.hpp"

#include "cli/cost_period.hpp"
#include "ledger/charge_sums.hpp"

namespace packmile::cli {
namespace {

std::vector<Column> verdict_rows_columns() {
  std::vector<Column> out{{"van", ColumnKind::text, false}, {"vin", ColumnKind::text, true}};
  for (Column& column : verdict_columns()) out.push_back(std::move(column));
  return out;
}

}  // namespace

Result<std::vector<NamedRows>> all_tables(Asked& asked, const AsOf& as_of) {
  const Fleet& fleet = asked.open.depot.fleet;
  const auto vans = gather_vans(asked, as_of);
  if (!vans) return vans.error();
  const Comparison comparison = compare_gathered(asked, as_of, *vans);
  std::vector<VanMoney> money;
  for (const VanGathered& van : *vans) money.push_back(van.money);
  const auto period = whole_period(asked, as_of.at, money);

  Rows trips{trip_columns(), {}}, sessions{session_columns(), {}},
      throughput{throughput_columns(), {}}, cost{cost_columns(), {}}, upkeep{upkeep_columns(), {}},
      compared{compare_columns(), {}}, verdicts{verdict_rows_columns(), {}},
      capacity{capacity_columns(), {}}, fade{fade_columns(), {}};
  for (std::size_t k = 0; k < vans->size(); ++k) {
    const VanGathered& van = (*vans)[k];
    const VanNames& names = van.van.names;
    for (const Trip& trip : van.money.parts.trips) trips.rows.push_back(row_of(names, trip));
    for (const auto& [session, paid] : priced_charges(van.money, fleet))
      sessions.rows.push_back(row_of(names, session, paid, fleet.currency));
    throughput.rows.push_back(row_of(names, throughput_of(van.money.parts, {}, asked.zone())));
    if (period)
      cost.rows.push_back(row_of(
          names.van, cost_of(van.money, fleet, period->first, period->second), fleet.currency));
    const auto parts = upkeep_of_van(asked, van.van, van.duty, van.money.notes);
    if (!parts) return parts.error();
    for (const UpkeepRow& row : parts->rows) upkeep.rows.push_back(row_of(*parts, row));
    compared.rows.push_back(row_of(comparison, k));
    if (van.van.id) {
      const auto list = asked.open.ledger.verdicts(*van.van.id);
      if (!list) return list.error();
      for (const Verdict& verdict : *list) {
        Row row = row_begin(names);
        for (Cell& cell : row_of(verdict)) row.push_back(std::move(cell));
        verdicts.rows.push_back(std::move(row));
      }
    }
    const auto held = capacity_of_van(asked, van.van);
    if (!held) return held.error();
    for (const CapacityRow& row : *held) capacity.rows.push_back(row_of(names, row));
    const auto faded = fade_of_van(asked, van.van);
    if (!faded) return faded.error();
    for (const FadeRow& row : faded->rows) fade.rows.push_back(row_of(names, row));
  }
  return std::vector<NamedRows>{{"trips", std::move(trips)},
                                {"sessions", std::move(sessions)},
                                {"throughput", std::move(throughput)},
                                {"cost", std::move(cost)},
                                {"upkeep", std::move(upkeep)},
                                {"compare", std::move(compared)},
                                {"verdicts", std::move(verdicts)},
                                {"capacity", std::move(capacity)},
                                {"fade", std::move(fade)}};
}

}  // namespace packmile::cli
