// Vans held against each other: energy per mile at the same temperature, speed
// and stops.
//
// Input     trips of every van, the period that was asked for.
// Output    rows of `compare`.
// Rule      a van is told apart from others only where 0 is outside the interval
//           of the difference; else the row says how many more days would do.
//           Vans whose VIN begins with the same eight characters (maker and
//           description of the vehicle, ISO 3779 and 49 CFR 565) and that have one
//           nominal capacity share the effects of temperature, speed and stops.
#pragma once
#include <string>
#include <vector>

#include "energy/energy_per_mile.hpp"
#include "ledger/throughput.hpp"

namespace packmile {

struct ComparedVan {
  VanNames names;
  MaybeFigure kwh_per_mile;  // of all trips of the period, as in `throughput`
  // Against the mean of the others, at reference conditions.
  MaybeFigure difference_kwh_per_mile;
  bool decided = false;
  std::string reason;
  std::vector<VanDifference> against;  // each of the others
};

struct Comparison {
  MileStudy study;  // vans in the order of `vans`
  std::vector<ComparedVan> vans;
};

struct VanToCompare {
  VanNames names;
  VanParts parts;
};

[[nodiscard]] Comparison compare(const std::vector<VanToCompare>& vans, const Period& period,
                                 const Zone& zone, const MileRules& rules = {});

[[nodiscard]] std::vector<Column> compare_columns();
// van: index of Comparison::vans.
[[nodiscard]] Row row_of(const Comparison& comparison, std::size_t van);

}  // namespace packmile
