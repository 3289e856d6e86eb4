#include <fmt/format.h>

#include <chrono>

#include "ledger/van_duty.hpp"
#include "pack/trend.hpp"
#include "report/exhibits.hpp"
#include "report/number_text.hpp"
#include "report/pack_words.hpp"

namespace packmile::report {
namespace {

// Months of capacity are UTC's.
std::string month_key(int month) { return fmt::format("{:04}-{:02}", month / 12, month % 12 + 1); }

std::string window_words(const CapacityRow& row) {
  if (row.window_low_v && row.window_high_v)
    return fmt::format("{:.0f} to {:.0f} V", *row.window_low_v, *row.window_high_v);
  if (row.window_low_pct && row.window_high_pct)
    return fmt::format("{:.0f} to {:.0f} %", *row.window_low_pct, *row.window_high_pct);
  return "-";
}

std::string verdict_words(LineVerdict verdict) {
  switch (verdict) {
    case LineVerdict::on:
      return "as expected";
    case LineVerdict::better:
      return "better";
    case LineVerdict::worse:
      return "worse";
    case LineVerdict::cannot_tell:
      return "not told";
  }
  return {};
}

}  // namespace

Exhibit capacity_by_month(const VanEvidence& van, const DepotEvidence& depot) {
  Exhibit out{"capacity", "What the pack holds", {}, {}, {}};
  out.table = {fmt::format("{}: capacity by method", van.names.van),
               {{"when"},
                {"method"},
                {"Ah", true},
                {"kWh", true},
                {"window"},
                {"charges", true},
                {"against your expectation"}},
               {}};
  for (const CapacityRow& row : van.capacity) {
    if (row.scope != CapacityScope::month && row.scope != CapacityScope::latest) continue;
    const bool month = row.scope == CapacityScope::month && row.date;
    const std::string key = month ? month_key(month_of(*row.date, depot.zone)) : "";
    std::string when = "latest";
    if (month)
      when = month_words(key);
    else if (row.date)
      when = "latest, " + depot.words.day(local_day(depot.zone, *row.date));
    const auto text = [](const MaybeFigure& f) {
      return f.figure ? range_words(*f.figure) : std::string{"not known"};
    };
    out.table.lines.push_back(
        {key,
         {},
         {when, std::string{method_words(row.method)}, text(row.ah), text(row.kwh),
          window_words(row), std::to_string(row.n_used), verdict_words(row.against_expectation)}});
    if (!month || row.method != CapacityMethod::controller_edges || !row.ah.figure) continue;
    ChartPoint point = point_of(key, *row.ah.figure);
    point.note = counted(row.n_used, "charge", "charges");
    out.chart.points.push_back(std::move(point));
  }
  out.chart.van = van.names.van;
  out.chart.x_label = "month";
  out.chart.y_label = "Ah for 100 points of the controller's own scale";
  if (!van.expected.empty()) {
    ChartLine line{"your expectation", {}};
    for (const ExpectedAh& one : van.expected) line.at.emplace_back(month_key(one.month), one.ah);
    out.chart.lines.push_back(std::move(line));
  }
  out.finding = sentence(pack_sentence(van, depot.zone, depot.words));
  out.chart.says = out.finding;
  return out;
}

}  // namespace packmile::report
