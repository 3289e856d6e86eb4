// packmile trips: one row for each trip.
#include <fmt/format.h>

#include <algorithm>

#include "report/number_text.hpp"
#include "cli/van_rows.hpp"

namespace packmile::cli {
namespace {

std::string soc_text(const Trip& trip) {
  const auto end = [](const std::optional<double>& soc_pct) {
    return soc_pct ? fmt::format("{:.0f}", *soc_pct) : std::string{"-"};
  };
  return end(trip.soc_start_pct) + " to " + end(trip.soc_end_pct);
}

}  // namespace

ExitCode run_trips(const RowsOptions& options) {
  AskedOr answer = ask(options);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const bool miles = options.units == Units::miles;

  Rows rows{trip_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  Reasons reasons;
  std::int64_t beside = 0;
  std::int64_t unsure = 0;
  std::size_t trips = 0;
  for (const AskedVan& van : asked.vans) {
    if (!van.id) continue;
    const auto list = asked.open.ledger.trips(*van.id, asked.period);
    if (!list) {
      say(list.error());
      return ExitCode::failed;
    }
    const auto others = asked.open.ledger.trips_beside(*van.id, asked.period);
    if (!others) {
      say(others.error());
      return ExitCode::failed;
    }
    beside += *others;
    for (const Trip& trip : *list) {
      unsure += std::ranges::count(trip.findings, Finding::period_unsure);
      ++trips;
      rows.rows.push_back(row_of(van.names, trip));
      if (options.format != Format::table) continue;
      const MaybeFigure& per = miles ? trip.kwh_per_mile : trip.wh_per_km;
      for (const MaybeFigure* f : {&trip.distance_km, &trip.net_kwh, &per}) reasons.note(*f);
      lines.push_back({clean_text(van.names.van),
                       moment_text(asked.zone(), trip.start, trip.start_doubt), minutes_text(trip),
                       figure_text(trip.distance_km, miles ? 1 / kKmPerMile : 1),
                       figure_text(trip.net_kwh), figure_text(per), soc_text(trip),
                       trip.ambient_mean_c ? number_text(*trip.ambient_mean_c, 0) : "-",
                       share_text(trip.coverage), text_of(trip.findings)});
    }
  }
  return write_rows(options, "trips", rows, asked.zone(), [&]() -> Result<std::string> {
    const auto evidence = evidence_of(asked, false);
    if (!evidence) return evidence.error();
    const std::vector<TableColumn> columns{{"van", false},    {"start", false},
                                           {"min", true},     {miles ? "miles" : "km", true},
                                           {"net kWh", true}, {miles ? "kWh/mile" : "Wh/km", true},
                                           {"SoC %", true},   {"degC", true},
                                           {"seen", true},    {"findings", false}};
    return render_table(columns, lines) +
           fmt::format("{} {}\n", trips, trips == 1 ? "trip" : "trips") + foot_of(asked, reasons) +
           beside_text(beside, unsure, "trips") + *evidence;
  });
}

}  // namespace packmile::cli
