// packmile report: one page that is printed and acted on.
#include "report/pages.hpp"

#include <fmt/format.h>

#include <chrono>
#include <ctime>

#include "archive/sha256.hpp"
#include "cli/output.hpp"
#include "cli/report_tables.hpp"
#include "cli/van_evidence.hpp"
#include "cli/workbook.hpp"
#include "report/buyer_page.hpp"
#include "report/evidence.hpp"

namespace packmile::cli {
namespace {

using report::BuyerEvidence;
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

// The first instant of the day of the last odometer reading before `at`, not longer
// before it than kSoonDays.
std::optional<UtcTime> reading_before(const VanMoney& money, const Zone& zone, UtcTime at) {
  std::optional<UtcTime> last;
  for (const OdometerPoint& point : money.odometer)
    if (point.when.to <= at && point.when.from >= at - report::kSoonDays &&
        (!last || point.when.from > *last))
      last = point.when.from;
  return last ? std::optional{zone.day_of(*last).from} : std::nullopt;
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
  if (!out.cost.cost_per_mile.figure || out.cost_of_part)
    if (const auto from = reading_before(out.money, zone, depot.soon_from)) {
      VanCost longer = cost_of(out.money, fleet, *from, depot.to);
      if (longer.cost_per_mile.figure && !distance_of_part(longer, zone)) {
        out.cost = std::move(longer);
        out.cost_of_part.reset();
        out.cost_of_longer = true;
      }
    }
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
    if (!van->cost_of_part && !van->cost_of_longer) costs.push_back(van->cost);
    out.vans.push_back(std::move(*van));
  }
  out.fleet_cost_per_mile = fleet_cost_per_mile(costs);
  return out;
}

// How many sheets.
Result<std::size_t> write_tables(Asked& asked, const AsOf& as_of, Output& out) {
  const auto tables = all_tables(asked, as_of);
  if (!tables) return tables.error();
  auto book = Workbook::begin(out);
  if (!book) return book.error();
  for (const auto& [name, rows] : *tables)
    if (const auto done = book->add_sheet(name, rows, asked.zone()); !done) return done.error();
  if (const auto done = book->finish(); !done) return done.error();
  return tables->size();
}

// Of the one van that was asked for.
Result<BuyerEvidence> buyer_of(Asked& asked, const DepotEvidence& depot) {
  BuyerEvidence out;
  const VanNames& names = asked.vans.front().names;
  for (const VanEvidence& van : depot.vans)
    if (van.names.van == names.van && van.names.vin == names.vin) out.van = van;
  out.facts = out.van.money.parts.facts;
  const TraceLines& trace = out.van.money.parts.trace;
  const Period period{depot.from, depot.to};
  out.silent = silent_days(out.van.days, trace, depot.zone);
  for (const OdometerReading& reading : trace.odometer)
    out.odometer_readings += period.holds(reading.time);
  out.odometer_falls = odometer_falls(trace, period);
  std::vector<std::uint32_t> log_ids;
  for (const CardUse& card : out.van.cards) log_ids.push_back(card.log_id);
  auto files = digests_of_logs(asked.open.depot.archive(), log_ids);
  if (!files) return files.error();
  out.files = std::move(*files);
  Sha256 all;
  for (const FileDigest& file : out.files) {
    // As sha256sum writes a line.
    const std::string line = file.sha256 + "  " + file.file + "\n";
    all.add({reinterpret_cast<const std::uint8_t*>(line.data()), line.size()});
  }
  out.digest_of_all = all.finish();
  return out;
}

}  // namespace

ExitCode run_report(const ReportOptions& options) {
  RowsOptions rows;
  rows.depot = options.depot;
  rows.van = options.van;
  rows.as_of = options.as_of;
  AskedOr answer = ask(rows, true);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const AsOfOr as_of = find_as_of(asked, options.as_of);
  if (!as_of.as_of) return as_of.code;
  const auto fail = [](const Error& error) {
    say(error);
    return ExitCode::failed;
  };
  auto out = Output::open(options.output);
  if (!out) return fail(out.error());
  std::string what;
  if (options.format == ReportFormat::xlsx) {
    const auto written = write_tables(asked, *as_of.as_of, *out);
    if (!written) return fail(written.error());
    what = fmt::format("{} tables", *written);
  } else {
    auto evidence = gather_evidence(asked, *as_of.as_of, options.units);
    if (!evidence) return fail(evidence.error());
    std::string page;
    if (options.for_buyer) {
      const auto buyer = buyer_of(asked, *evidence);
      if (!buyer) return fail(buyer.error());
      page = report::buyer_page(*evidence, *buyer);
      what = clean_text(buyer->van.names.van) + " for a buyer";
    } else {
      page = report::report_page(*evidence);
      what = report::counted(evidence->vans.size(), "van", "vans");
    }
    out->write(page);
    what += fmt::format(", {} kB", page.size() / 1000);
  }
  if (const auto done = out->commit(); !done) return fail(done.error());
  // Of the processor: machines are shared.
  const double seconds = static_cast<double>(std::clock()) / CLOCKS_PER_SEC;
  say(fmt::format("{}: {}, made in {:.2f} s", options.output, what, seconds));
  return ExitCode::done;
}

}  // namespace packmile::cli
