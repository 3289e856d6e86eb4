// packmile report: one page that is printed and acted on.
#include "report/pages.hpp"

#include <fmt/format.h>

#include <chrono>

#include "cli/output.hpp"
#include "cli/van_evidence.hpp"
#include "report/evidence.hpp"

namespace packmile::cli {
namespace {

using report::DepotEvidence;
using report::VanEvidence;

// The first day of the month so many before the one that holds `at`.
UtcTime months_before(const Zone& zone, UtcTime at, int months) {
  UtcTime from = zone.month_of(at).from;
  for (int k = 0; k < months; ++k) from = zone.month_of(from - std::chrono::milliseconds{1}).from;
  return from;
}

// So many local days before the one that ends at `to`.
UtcTime days_before(const Zone& zone, UtcTime to, std::chrono::days days) {
  UtcTime from = to;
  for (std::int64_t k = 0; k < days.count(); ++k)
    from = zone.day_of(from - std::chrono::milliseconds{1}).from;
  return from;
}

Result<VanEvidence> evidence_of_van(Asked& asked, const DepotEvidence& depot, VanGathered gathered,
                                    const Comparison& comparison, std::size_t index) {
  const Fleet& fleet = asked.open.depot.fleet;
  const Zone& zone = asked.zone();
  const AskedVan& van = gathered.van;
  VanEvidence out;
  out.names = van.names;
  out.heard = van.id.has_value();
  out.compared = comparison.vans[index];
  out.studied = comparison.study.vans[index];

  auto upkeep = upkeep_of_van(asked, van, gathered.duty, gathered.money.notes);
  if (!upkeep) return upkeep.error();
  out.upkeep = std::move(*upkeep);
  if (const UseRateOrWhy rate = gathered.duty.rate_of(DutyCounter::km); rate.rate)
    out.km_per_day = rate.rate->per_day;
  auto capacity = capacity_of_van(asked, van);
  if (!capacity) return capacity.error();
  out.capacity = std::move(*capacity);
  auto fade = fade_of_van(asked, van);
  if (!fade) return fade.error();
  out.expected = expected_ah(fade->source, fade->facts);
  out.fade_source = std::move(fade->source);
  out.fade = std::move(fade->rows);
  if (van.id) {
    auto verdicts = asked.open.ledger.verdicts(*van.id);
    if (!verdicts) return verdicts.error();
    out.verdicts = std::move(*verdicts);
    auto cards = asked.open.ledger.cards(*van.id);
    if (!cards) return cards.error();
    out.cards = std::move(*cards);
  }

  out.money = std::move(gathered.money);
  const Period period{depot.from, depot.to};
  out.cost = cost_of(out.money, fleet, depot.soon_from, depot.to);
  out.cost_of_part = distance_of_part(out.cost, zone);
  out.cost_of_period = cost_of(out.money, fleet, depot.from, depot.to);
  out.charges = priced_charges(out.money, fleet);
  out.by_place = sums_by_place(out.charges, period);
  out.by_month = sums_by_month(out.charges, period, zone);
  out.hours = charge_hours(out.charges, period, zone);
  out.through = throughput_of(out.money.parts, period, zone);
  out.months = throughput_by_month(out.money.parts, depot.from, depot.to, zone);
  out.bands = miles_by_temperature(out.money.parts, period, zone);
  out.days = seen_days(out.money.parts, depot.from, depot.to, zone);
  return out;
}

Result<DepotEvidence> gather_evidence(Asked& asked, const AsOf& as_of, Units units) {
  const Zone& zone = asked.zone();
  DepotEvidence out;
  out.zone = zone;
  out.words = {units == Units::miles, asked.open.depot.fleet.currency, local_day(zone, as_of.at)};
  out.program = fmt::format("packmile {}", kProgramVersion);
  out.as_of_text = as_of.text;
  out.to = zone.day_of(as_of.at).to;
  out.from = months_before(zone, as_of.at, report::kMonthsBack);
  out.soon_from = days_before(zone, out.to, report::kSoonDays);
  auto vans = gather_vans(asked, as_of);
  if (!vans) return vans.error();
  const Comparison comparison = compare_gathered(asked, as_of, *vans);
  std::vector<VanCost> costs;
  for (std::size_t k = 0; k < vans->size(); ++k) {
    auto van = evidence_of_van(asked, out, std::move((*vans)[k]), comparison, k);
    if (!van) return van.error();
    if (!van->cost_of_part) costs.push_back(van->cost);
    out.vans.push_back(std::move(*van));
  }
  out.fleet_cost_per_mile = fleet_cost_per_mile(costs);
  return out;
}

}  // namespace

ExitCode run_report(const ReportOptions& options) {
  const auto begun = std::chrono::steady_clock::now();
  RowsOptions rows;
  rows.depot = options.depot;
  rows.as_of = options.as_of;
  AskedOr answer = ask(rows, true);
  if (!answer.asked) return answer.code;
  const AsOfOr as_of = find_as_of(*answer.asked, options.as_of);
  if (!as_of.as_of) return as_of.code;
  const auto fail = [](const Error& error) {
    say(error);
    return ExitCode::failed;
  };
  const auto evidence = gather_evidence(*answer.asked, *as_of.as_of, options.units);
  if (!evidence) return fail(evidence.error());
  const std::string page = report::report_page(*evidence);
  auto out = Output::open(options.output);
  if (!out) return fail(out.error());
  out->write(page);
  if (const auto done = out->commit(); !done) return fail(done.error());
  const double seconds =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
  say(fmt::format("{} of {} kB, {} in {:.2f} s", options.output, page.size() / 1000,
                  report::counted(evidence->vans.size(), "van", "vans"), seconds));
  return ExitCode::done;
}

}  // namespace packmile::cli
