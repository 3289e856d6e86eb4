// Vans that charge through one counter, taken together.
//
// Method    as for one van alone whose charges all go through it: what was heard, what
//           receipts say, and what the counter has beside both; by the miles of all.
// Rule      needs the distance of each of them, of nearly all days of the period.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "money/cost.hpp"

namespace packmile {

struct CounterCost {
  UtcTime from, to;
  std::string place;              // of the counter; empty: not told
  std::vector<std::string> vans;  // as [depot_meter] of fleet.toml has them
  MaybeFigure grid_kwh, energy_cost;
  MaybeFigure distance_km;  // of all of them
  MaybeFigure grid_kwh_per_mile, energy_cost_per_mile;
};

// vans: every van, in any order. Absent: no counter is said to be of several vans, or
// nobody has noted it.
[[nodiscard]] std::optional<CounterCost> counter_cost_of(std::span<const CostInput> vans,
                                                         UtcTime from, UtcTime to);

}  // namespace packmile
