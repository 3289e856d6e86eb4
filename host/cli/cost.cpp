// packmile cost: one row a van for a period, or one a van and month.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "cli/as_of.hpp"
#include "cli/cost_period.hpp"
#include "report/number_text.hpp"
#include "cli/van_rows.hpp"
#include "ledger/van_cost.hpp"
#include "money/counter_cost.hpp"
#include "notes/currency.hpp"

namespace packmile::cli {
namespace {

std::vector<std::pair<UtcTime, UtcTime>> pieces_of(const Zone& zone, UtcTime from, UtcTime to,
                                                   bool by_month) {
  std::vector<std::pair<UtcTime, UtcTime>> out;
  while (by_month && from < to) {
    const UtcTime next = std::min(to, zone.month_of(from).to);
    out.emplace_back(from, next);
    from = next;
  }
  if (out.empty()) out.emplace_back(from, to);
  return out;
}

// Money by the mile or kilometre has more digits than money.
std::string each_text(const MaybeFigure& per_mile, bool miles) {
  return figure_text(per_mile, miles ? 1 : 1 / kKmPerMile, 4);
}

std::string period_text(const Zone& zone, const VanCost& cost) {
  // The last day, as people say a period.
  return zone.day(cost.from) + " to " + zone.day(cost.to - std::chrono::milliseconds{1});
}

// Vans of one counter, together.
std::string counter_text(const CounterCost& cost, const Zone& zone, const std::string& currency,
                         bool miles) {
  const double per = miles ? 1 : 1 / kKmPerMile;
  const char* by = miles ? "mile" : "km";
  std::string out =
      fmt::format("{} together, which share the counter{}, {} to {}: ", fmt::join(cost.vans, ", "),
                  cost.place.empty() ? "" : " of " + cost.place, zone.day(cost.from),
                  zone.day(cost.to - std::chrono::milliseconds{1}));
  if (!cost.grid_kwh.figure) return clean_text(out + "not known: " + cost.grid_kwh.why);
  out += fmt::format("{} kWh at the socket for {}", figure_text(cost.grid_kwh),
                     cost.energy_cost.figure ? money_text(cost.energy_cost, currency)
                                             : std::string{"a sum that is not known"});
  if (!cost.grid_kwh_per_mile.figure)
    return clean_text(out +
                      fmt::format("; by the {} not known: {}", by, cost.grid_kwh_per_mile.why));
  out += fmt::format("; by the {} {} kWh", by, figure_text(cost.grid_kwh_per_mile, per));
  if (cost.energy_cost_per_mile.figure)
    out += fmt::format(" for {}", each_text(cost.energy_cost_per_mile, miles));
  return clean_text(out);
}

std::string notes_text(const std::string& van, const VanMoney& money) {
  std::string out;
  std::size_t unattached = 0;
  const NotedCharge* first = nullptr;
  for (const NotedCharge& noted : money.priced.noted) {
    if (noted.session || money.parts.sessions.empty()) continue;
    if (unattached++ == 0) first = &noted;
  }
  if (unattached > 0)
    out = fmt::format(
        "{}: {} notes of a meter or a receipt are told to be about no measured "
        "charge (note {}: {}); what a receipt says was paid counts all the same\n",
        clean_text(van), unattached, first->note_id, clean_text(first->why));
  return out;
}

}  // namespace

ExitCode run_cost(const RowsOptions& options) {
  const bool by_month = options.by.has_value();  // the only one there is
  AskedOr answer = ask(options, true);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const AsOfOr as_of = find_as_of(asked, options.as_of);
  if (!as_of.as_of) return as_of.code;
  const Fleet& fleet = asked.open.depot.fleet;
  const bool miles = options.units == Units::miles;

  // Vans of one counter have a figure together, whichever was asked for.
  const auto& meter = fleet.money.meter;
  const bool shared = meter && meter->vans.size() > 1;
  std::vector<VanMoney> all;
  for (const AskedVan& van : shared ? asked.all : asked.vans) {
    auto record = on_record(asked, van);
    if (!record) {
      say(record.error());
      return ExitCode::failed;
    }
    all.push_back(van_money(van.names, std::move(record->parts), std::move(record->notes), fleet));
  }
  std::vector<VanMoney> vans;
  for (const VanMoney& van : all)
    if (std::ranges::any_of(asked.vans, [&](const AskedVan& a) { return a.names.van == van.van; }))
      vans.push_back(van);

  Rows rows{cost_columns(), {}};
  std::vector<std::vector<std::string>> lines, energy_lines;
  std::string told;
  std::map<std::string, std::set<std::string>> left_out;  // reason: vans
  Reasons reasons;
  const auto sharing = owned_spans(asked);
  if (!sharing) {
    say(sharing.error());
    return ExitCode::failed;
  }
  const auto period = whole_period(asked, as_of.as_of->at, vans);
  const auto money = [&](const MaybeFigure& f) { return money_text(f, fleet.currency); };
  std::vector<CostInput> inputs;
  if (shared)
    for (const VanMoney& van : all) inputs.push_back(cost_input(van, fleet, *sharing));
  std::map<UtcTime, std::optional<CounterCost>> counters;  // by the period's beginning
  if (period && shared)
    for (const auto& [from, to] :
         pieces_of(asked.zone(), period->first, period->second, by_month)) {
      const auto& counter = counters[from] = counter_cost_of(inputs, from, to);
      if (counter && options.format == Format::table)
        told += counter_text(*counter, asked.zone(), fleet.currency, miles) + "\n";
    }
  for (const VanMoney& van : vans) {
    if (!period) break;
    for (const auto& [from, to] :
         pieces_of(asked.zone(), period->first, period->second, by_month)) {
      VanCost cost = cost_of(cost_input(van, fleet, *sharing), from, to);
      const auto& counter = counters[from];
      // Below a table it is said once.
      if (options.format != Format::table && counter && !cost.grid_kwh_per_mile.figure &&
          std::ranges::find(counter->vans, van.van) != counter->vans.end())
        cost.grid_kwh_per_mile.why +=
            "; " + counter_text(*counter, asked.zone(), fleet.currency, true);
      rows.rows.push_back(row_of(van.van, cost, fleet.currency));
      if (options.format != Format::table) continue;
      for (const LeftOut& one : cost.not_included)
        left_out[one.word + ": " + one.why].insert(van.van);
      for (const MaybeFigure* f : {&cost.distance_km, &cost.cost_per_mile, &cost.grid_kwh_per_mile})
        reasons.note(*f);
      const std::string name = clean_text(van.van), when = period_text(asked.zone(), cost);
      lines.push_back({name, when, figure_text(cost.distance_km, miles ? 1 / kKmPerMile : 1),
                       money(cost.energy_cost), money(cost.tyres_cost), money(cost.parts_cost),
                       money(cost.labour_cost), money(cost.fixed_cost), money(cost.hire_cost),
                       money(cost.depreciation_cost), money(cost.total_cost)});
      energy_lines.push_back(
          {name, when, each_text(cost.cost_per_mile, miles),
           each_text(cost.cost_per_mile_without_depreciation, miles),
           each_text(cost.energy_cost_per_mile, miles), figure_text(cost.grid_kwh),
           figure_text(cost.grid_kwh_per_mile, miles ? 1 : 1 / kKmPerMile),
           money(cost.charger_loss_cost), money(cost.standing_cost), figure_text(cost.lost_days)});
      if (cost.cost_per_mile.figure && !cost.short_distance.empty())
        told += fmt::format("{}, {}: {}; {}\n", name, when, clean_text(cost.short_distance),
                            cost.short_distance_cure);
      if (cost.unsure_sessions > 0)
        told += fmt::format(
            "{}, {}: charges that may or may not belong to it: {}; the intervals "
            "hold both\n",
            name, when, cost.unsure_sessions);
    }
    told += notes_text(van.van, van);
  }
  for (const auto& [why, whose] : left_out)
    told += fmt::format("not included for {}: {}\n",
                        whose.size() == vans.size() && vans.size() > 1
                            ? "any van"
                            : clean_text(fmt::format("{}", fmt::join(whose, ", "))),
                        clean_text(why));
  return write_rows(options, "cost", rows, asked.zone(), [&]() -> Result<std::string> {
    const std::vector<TableColumn> columns{
        {"van", false},         {"period", false}, {miles ? "miles" : "km", true},
        {"energy", true},       {"tyres", true},   {"parts", true},
        {"labour", true},       {"fixed", true},   {"hire", true},
        {"depreciation", true}, {"total", true}};
    const char* by = miles ? "mile" : "km";
    const std::vector<TableColumn> energy_columns{{"van", false},
                                                  {"period", false},
                                                  {fmt::format("by the {}", by), true},
                                                  {"without depreciation", true},
                                                  {"energy alone", true},
                                                  {"kWh at the socket", true},
                                                  {fmt::format("kWh/{}", by), true},
                                                  {"of energy: charger loss", true},
                                                  {"standing", true},
                                                  {"days off the road", true}};
    if (!period)
      return std::string{"Nothing of these vans is on record in this period.\n"} +
             foot_of(asked, reasons);
    return fmt::format("All sums in {}.\n",
                       fleet.currency == "XXX" ? "the depot's currency" : fleet.currency) +
           render_table(columns, lines) + "\n" + render_table(energy_columns, energy_lines) +
           foot_of(asked, reasons) + fmt::format("Today: {}.\n", as_of.as_of->text) + told +
           "A cost by the mile divides by the distance between the first and the last odometer "
           "reading in the period.\n";
  });
}

}  // namespace packmile::cli
