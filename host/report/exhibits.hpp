// What a van's page shows: each a chart with the sentence that its figures make, and
// the table behind it.
//
// Input     the evidence of one van.
// Output    an exhibit; without points its finding says why there are none.
// Rule      a finding never says more than the intervals: what they leave open is
//           said to be open.
#pragma once
#include <string>
#include <vector>

#include "report/chart.hpp"
#include "report/evidence.hpp"
#include "report/html.hpp"

namespace packmile::report {

struct Exhibit {
  std::string_view key;  // "miles", of the chart's data
  std::string_view title;
  std::string finding;  // one line
  Chart chart;
  DataTable table;
};

[[nodiscard]] Exhibit fleet_cost(const DepotEvidence& depot);

[[nodiscard]] Exhibit energy_by_month(const VanEvidence& van, const DepotEvidence& depot);
[[nodiscard]] Exhibit energy_by_temperature(const VanEvidence& van, const DepotEvidence& depot);

[[nodiscard]] Exhibit charges_by_month(const VanEvidence& van, const DepotEvidence& depot);
[[nodiscard]] Exhibit charges_by_hour(const VanEvidence& van, const DepotEvidence& depot);
[[nodiscard]] Exhibit charges_by_place(const VanEvidence& van, const DepotEvidence& depot);

[[nodiscard]] Exhibit capacity_by_month(const VanEvidence& van, const DepotEvidence& depot);
[[nodiscard]] Exhibit throughput_of_months(const VanEvidence& van, const DepotEvidence& depot);
[[nodiscard]] Exhibit swings(const VanEvidence& van, const DepotEvidence& depot);

[[nodiscard]] Exhibit duty_by_month(const VanEvidence& van, const DepotEvidence& depot);
[[nodiscard]] Exhibit upkeep_of_parts(const VanEvidence& van, const DepotEvidence& depot);

[[nodiscard]] Exhibit hours_seen(const VanEvidence& van, const DepotEvidence& depot);
// Clocks, requests while parked, sectors: one sentence each.
[[nodiscard]] std::vector<std::string> data_sentences(const VanEvidence& van,
                                                      const DepotEvidence& depot);

}  // namespace packmile::report
