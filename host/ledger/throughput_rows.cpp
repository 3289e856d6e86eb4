#include "ledger/throughput.hpp"
#include "ledger/van_trace.hpp"

namespace packmile {

std::vector<Column> throughput_columns() {
  using enum ColumnKind;
  return {{"van", text, false},
          {"vin", text, true},
          {"discharge_kwh", figure, true},
          {"charge_kwh", figure, true},
          {"discharge_ah", figure, true},
          {"charge_ah", figure, true},
          {"full_cycles", figure, true},
          {"odometer_km", figure, true},
          {"kwh_per_mile", figure, true},
          {"standing_kwh", figure, true},
          {"measured_from", time, true},
          {"measured_to", time, true},
          {"coverage", real, true},
          {"before_logging_kwh", figure, true},
          {"before_logging_source", text, false},
          {"dc_share", figure, true},
          {"charger_hours", figure, true},
          {"hours_soc_high", figure, true},
          {"hours_soc_low", figure, true},
          {"swings", swings, true},
          {"lost", lost, false},
          {"full_cycles_check", figure, true},
          {"before_logging_full_cycles", figure, true},
          {"charge_power", powers, true},
          {"soc_high_pct", real, false},
          {"soc_low_pct", real, false},
          {"findings", words, false}};
}

Row row_of(const VanNames& van, const Throughput& t) {
  const auto time_or = [&](const std::optional<UtcTime>& at) {
    return at ? Cell{*at, {}} : Cell::unknown(t.none_why);
  };
  Row row;
  row.push_back({van.van, {}});
  row.push_back(van.vin.empty() ? Cell::unknown("the van never answered its VIN")
                                : Cell{van.vin, {}});
  for (const MaybeFigure* f : {&t.discharge_kwh, &t.charge_kwh, &t.discharge_ah, &t.charge_ah,
                               &t.full_cycles, &t.odometer_km, &t.kwh_per_mile, &t.standing_kwh})
    row.push_back(Cell::of(*f));
  row.push_back(time_or(t.measured_from));
  row.push_back(time_or(t.measured_to));
  row.push_back(t.coverage ? Cell{*t.coverage, {}} : Cell::unknown(t.none_why));
  row.push_back(Cell::of(t.before_logging_kwh));
  row.push_back({std::string{t.before_logging_kwh.figure ? "assumed" : "unknown"}, {}});
  for (const MaybeFigure* f : {&t.dc_share, &t.charger_hours, &t.hours_soc_high, &t.hours_soc_low})
    row.push_back(Cell::of(*f));
  row.push_back(t.swings ? Cell{*t.swings, {}} : Cell::unknown(t.swings_why));
  row.push_back({t.lost, {}});
  row.push_back(Cell::of(t.full_cycles_check));
  row.push_back(Cell::of(t.before_logging_full_cycles));
  row.push_back(t.charge_power ? Cell{*t.charge_power, {}} : Cell::unknown(t.charge_power_why));
  row.push_back({kSocHighPct, {}});
  row.push_back({kSocLowPct, {}});
  std::vector<std::string> found;
  for (const Finding finding : t.findings) found.emplace_back(entry_of(finding).word);
  row.push_back({std::move(found), {}});
  return row;
}

}  // namespace packmile
