// packmile capacity: what each pack is told to hold, by method.
#include <fmt/format.h>

#include <algorithm>

#include "report/number_text.hpp"
#include "cli/van_evidence.hpp"

namespace packmile::cli {
namespace {

std::string window_text(const CapacityRow& row) {
  if (row.window_low_v && row.window_high_v)
    return fmt::format("{:.0f} to {:.0f} V", *row.window_low_v, *row.window_high_v);
  if (row.window_low_pct && row.window_high_pct)
    return fmt::format("{:.0f} to {:.0f} %", *row.window_low_pct, *row.window_high_pct);
  return "-";
}

std::string temperature_text(const CapacityRow& row) {
  if (row.temp_c) return number_text(*row.temp_c, 0);
  switch (row.stratum) {
    case TemperatureStratum::unknown:
      return "-";
    case TemperatureStratum::below_5:
      return "below 5";
    case TemperatureStratum::from_5:
      return "5 to 15";
    case TemperatureStratum::from_15:
      return "15 to 25";
    case TemperatureStratum::above_25:
      return "above 25";
  }
  return "-";
}

std::string rejected_text(const CapacityRow& row) {
  std::string out = fmt::format("{}", row.n_rejected);
  for (const Rejected& r : row.rejected)
    out += fmt::format("{}{} {}", &r == &row.rejected.front() ? ": " : ", ", r.count, r.reason);
  return out;
}

std::vector<std::string> line_of(const AskedVan& van, const CapacityRow& row, const Zone& zone) {
  return {clean_text(van.names.van),
          std::string{word_of(row.method)},
          std::string{word_of(row.scope)},
          row.date ? zone.day(*row.date) : "-",
          figure_text(row.ah),
          figure_text(row.kwh),
          window_text(row),
          temperature_text(row),
          std::string{word_of(row.charge_kind)},
          fmt::format("{}", row.n_used),
          rejected_text(row),
          std::string{word_of(row.against_expectation)}};
}

// Single charges are shown where no month has enough of them; changes of mind are
// counted below the table.
bool shown(const CapacityRow& row, bool has_months) {
  switch (row.scope) {
    case CapacityScope::latest:
    case CapacityScope::month:
      return true;
    case CapacityScope::charge:
      return !has_months && row.ah.figure;
    case CapacityScope::re_anchor:
      return false;
  }
  return false;
}

}  // namespace

ExitCode run_capacity(const RowsOptions& options) {
  AskedOr answer = ask(options);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;

  Rows rows{capacity_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  std::string means;
  for (const AskedVan& van : asked.vans) {
    const auto told = capacity_of_van(asked, van);
    if (!told) {
      say(told.error());
      return ExitCode::failed;
    }
    const std::vector<CapacityRow>& all = *told;
    const bool has_months = std::ranges::any_of(
        all, [](const CapacityRow& row) { return row.scope == CapacityScope::month; });
    std::size_t charges = 0, re_anchors = 0;
    for (const CapacityRow& row : all) {
      rows.rows.push_back(row_of(van.names, row));
      if (options.format != Format::table) continue;
      charges += row.scope == CapacityScope::charge;
      re_anchors += row.scope == CapacityScope::re_anchor;
      if (!shown(row, has_months)) continue;
      lines.push_back(line_of(van, row, asked.zone()));
      if (row.scope != CapacityScope::latest) continue;
      means += fmt::format("{}, {}: {}\n", clean_text(van.names.van), word_of(row.method),
                           clean_text(row.reason));
    }
    if (charges > 0 || re_anchors > 0)
      means += fmt::format(
          "{}: {} charges one by one, {} changes of the controller's mind: see "
          "--format csv\n",
          clean_text(van.names.van), charges, re_anchors);
  }
  return write_rows(options, "capacity", rows, asked.zone(), [&]() -> Result<std::string> {
    const auto evidence = evidence_of(asked, true);
    if (!evidence) return evidence.error();
    const std::vector<TableColumn> columns{
        {"van", false},    {"method", false}, {"scope", false},    {"date", false},
        {"Ah", true},      {"kWh", true},     {"window", true},    {"degC", true},
        {"charge", false}, {"used", true},    {"left out", false}, {"expectation", false}};
    return render_table(columns, lines) + foot_of(asked, {}) +
           prose(options,
                 "Ah by controller_edges and rest_to_rest are of 100 points of the controller's "
                 "own scale; voltage_window is no capacity but a witness; reported is what the "
                 "van says of itself.\n" +
                     means + *evidence);
  });
}

}  // namespace packmile::cli
