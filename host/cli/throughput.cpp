// packmile throughput: one row a van, what went through its pack in the period.
#include "ledger/throughput.hpp"

#include <fmt/format.h>

#include "report/number_text.hpp"
#include "cli/van_rows.hpp"

namespace packmile::cli {
namespace {

// A reading, not a measurement: one decimal, as the dashboard shows it.
std::string odometer_text(const MaybeFigure& odometer_km, double factor) {
  return odometer_km.figure ? fmt::format("{:.1f}", odometer_km.figure->value * factor) : "-";
}

std::string swings_text(const std::string& van, const Throughput& t) {
  if (!t.swings || t.swings->empty()) return {};
  const SwingCounts counts = swings_by_depth(*t.swings);
  std::string out;
  for (std::size_t k = 0; k < counts.size(); ++k) {
    if (counts[k] > 0)
      out += fmt::format("{}{:.0f}-{:.0f} %: {}", out.empty() ? "" : ", ", kSwingDepthsPct[k],
                         kSwingDepthsPct[k + 1], counts[k]);
  }
  return fmt::format("{}, swings of the state of charge by depth: {}\n", clean_text(van), out);
}

std::string powers_text(const std::string& van, const Throughput& t) {
  if (!t.charge_power) return {};
  std::string out, kind;
  for (const ChargePower& power : *t.charge_power) {
    out += out.empty() ? "" : power.kind == kind ? ", " : "; ";
    if (power.kind != kind)
      out += power.kind == "unknown" ? "AC or DC not known " : power.kind + " ";
    kind = power.kind;
    out += power.to_kw ? fmt::format("{}-{} kW: {:.1f} h", power.from_kw, *power.to_kw, power.hours)
                       : fmt::format("{} kW and above: {:.1f} h", power.from_kw, power.hours);
  }
  return fmt::format("{}, hours of charging by power into the pack: {}\n", clean_text(van), out);
}

// "willow, full cycles: 1.31 (1.17 to 1.45) measured, and 71 to 118 before logging, assumed".
std::string cycles_text(const std::string& van, const Throughput& t) {
  if (!t.full_cycles.figure || !t.before_logging_full_cycles.figure) return {};
  const Figure& before = *t.before_logging_full_cycles.figure;
  return fmt::format("{}, full cycles: {} measured, and {:.0f} to {:.0f} before logging, assumed\n",
                     clean_text(van), figure_text(t.full_cycles), before.low, before.high);
}

std::string findings_text(const std::string& van, const Throughput& t) {
  std::string out;
  for (const Finding finding : t.findings)
    out += fmt::format("{}: {}\n", clean_text(van), entry_of(finding).text);
  return out;
}

}  // namespace

ExitCode run_throughput(const RowsOptions& options) {
  AskedOr answer = ask(options);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const bool miles = options.units == Units::miles;

  Rows rows{throughput_columns(), {}};
  std::vector<std::vector<std::string>> lines, use_lines;
  std::string lost, told;
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
    for (const MaybeFigure* f :
         {&t.discharge_ah, &t.charge_ah, &t.dc_share, &t.charger_hours, &t.hours_soc_high})
      reasons.note(*f);
    use_lines.push_back({clean_text(van.names.van), figure_text(t.discharge_ah),
                         figure_text(t.charge_ah), figure_text(t.dc_share, 100),
                         figure_text(t.charger_hours), figure_text(t.hours_soc_high),
                         figure_text(t.hours_soc_low)});
    for (const auto& text : {cycles_text(van.names.van, t), swings_text(van.names.van, t),
                             powers_text(van.names.van, t), findings_text(van.names.van, t)})
      told += text;
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
    const std::vector<TableColumn> use_columns{
        {"van", false},
        {"out Ah", true},
        {"in Ah", true},
        {"DC %", true},
        {"charger hours", true},
        {fmt::format("hours at {:.0f} % or more", kSocHighPct), true},
        {fmt::format("hours at {:.0f} % or less", kSocLowPct), true}};
    return render_table(columns, lines) + "\n" + render_table(use_columns, use_lines) +
           foot_of(asked, reasons) + told +
           "out and in: at the pack, regen counts as in; standing: out of the pack outside trips, "
           "as far\n"
           "as it was heard: not before the logger has noticed that the van woke; "
           "charger: the\non-board one, at 0.6 kW or more.\n"
           "before logging is assumed, not measured: the odometer at the first record times the "
           "use since. It is in no other figure.\n" +
           unsure + lost + *evidence;
  });
}

}  // namespace packmile::cli
