// packmile throughput: one row a van, what went through its pack in the period.
#include "ledger/throughput.hpp"

#include <fmt/format.h>

#include "cli/number_text.hpp"
#include "cli/van_rows.hpp"

namespace packmile::cli {
namespace {

Result<VanParts> parts_of_van(Asked& asked, const AskedVan& van) {
  VanParts parts{facts_of(asked.open.depot.fleet, van.names), {}, {}, {}, {}, {}};
  if (!van.id) return parts;
  // The whole life: what lies before and beyond the period is needed too.
  auto trips = asked.open.ledger.trips(*van.id, {});
  if (!trips) return trips.error();
  auto sessions = asked.open.ledger.sessions(*van.id, {});
  if (!sessions) return sessions.error();
  auto stands = asked.open.ledger.stands(*van.id, {});
  if (!stands) return stands.error();
  auto trace = asked.open.ledger.trace(*van.id);
  if (!trace) return trace.error();
  auto lost = asked.open.ledger.lost(*van.id);
  if (!lost) return lost.error();
  parts.lost = std::move(*lost);
  parts.trips = std::move(*trips);
  parts.sessions = std::move(*sessions);
  parts.stands = std::move(*stands);
  parts.trace = std::move(*trace);
  return parts;
}

// A reading, not a measurement: one decimal, as the dashboard shows it.
std::string odometer_text(const MaybeFigure& odometer_km, double factor) {
  return odometer_km.figure ? fmt::format("{:.1f}", odometer_km.figure->value * factor) : "-";
}

}  // namespace

ExitCode run_throughput(const RowsOptions& options) {
  AskedOr answer = ask(options);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const bool miles = options.units == Units::miles;

  Rows rows{throughput_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  std::string lost;
  std::string unsure;
  Reasons reasons;
  for (const AskedVan& van : asked.vans) {
    const auto parts = parts_of_van(asked, van);
    if (!parts) {
      say(parts.error());
      return ExitCode::failed;
    }
    const Throughput t = throughput_of(*parts, asked.period, asked.zone());
    rows.rows.push_back(row_of(van.names, t));
    if (options.format != Format::table) continue;
    if (t.unsure_rows > 0)
      unsure += fmt::format(
          "{}, trips and charges that may or may not belong to this period: {}; the intervals hold "
          "both\n",
          clean_text(van.names.van), t.unsure_rows);
    lost += lost_text(van.names.van, t.lost, asked.zone());
    for (const MaybeFigure* f : {&t.discharge_kwh, &t.charge_kwh, &t.full_cycles, &t.odometer_km,
                                 &t.kwh_per_mile, &t.standing_kwh, &t.before_logging_kwh})
      reasons.note(*f);
    const double distance = miles ? 1 / kKmPerMile : 1;
    lines.push_back(
        {clean_text(van.names.van), t.measured_from ? asked.zone().day(*t.measured_from) : "-",
         t.measured_to ? asked.zone().day(*t.measured_to) : "-", figure_text(t.discharge_kwh),
         figure_text(t.charge_kwh), figure_text(t.full_cycles),
         odometer_text(t.odometer_km, distance),
         figure_text(t.kwh_per_mile, miles ? 1 : 1 / kKmPerMile), figure_text(t.standing_kwh),
         t.coverage ? share_text(*t.coverage) : "-", figure_text(t.before_logging_kwh)});
  }
  return write_rows(options, "throughput", rows, asked.zone(), [&]() -> Result<std::string> {
    const auto evidence = evidence_of(asked, true);
    if (!evidence) return evidence.error();
    const std::vector<TableColumn> columns{{"van", false},
                                           {"from", false},
                                           {"to", false},
                                           {"out kWh", true},
                                           {"in kWh", true},
                                           {"full cycles", true},
                                           {miles ? "odometer mi" : "odometer km", true},
                                           {miles ? "kWh/mile" : "kWh/km", true},
                                           {"standing kWh", true},
                                           {"seen", true},
                                           {"before logging kWh", true}};
    return render_table(columns, lines) + foot_of(asked, reasons) +
           "out and in: at the pack, regen counts as in; standing: out of the pack outside trips.\n"
           "before logging is assumed, not measured: the odometer at the first record times the "
           "use since. It is in no other figure.\n" +
           unsure + lost + *evidence;
  });
}

}  // namespace packmile::cli
