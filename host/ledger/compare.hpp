// Vans held against each other: energy per mile at the same temperature, speed
// and stops; cost per mile; and each against the van that could take its place.
//
// Input     trips of every van, the period that was asked for; costs and [[keep]].
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
#include "ledger/keep.hpp"
#include "ledger/throughput.hpp"

namespace packmile {

// Where a van stands by cost per mile; no rank where intervals overlap.
struct CostRank {
  std::optional<std::int64_t> rank;  // 1: the cheapest
  std::string why;                   // there is none, and what would decide it
};
struct CostToRank {
  std::string van;
  MaybeFigure per_mile;
  std::vector<std::string> not_included;  // in per_mile
  std::string narrower;                   // how to have per_mile narrower
};
// A van has a rank where its interval overlaps no other's, and where all costs leave
// out the same.
[[nodiscard]] std::vector<CostRank> ranks_of(const std::vector<CostToRank>& costs);

struct ComparedVan {
  VanNames names;
  MaybeFigure cost_per_mile, equivalent_years;
  CostRank cost_rank;
  VanKeep keep;
  MaybeFigure kwh_per_mile;  // of all trips of the period, as in `throughput`
  // Against the mean of the others, at reference conditions.
  MaybeFigure difference_kwh_per_mile;
  bool energy_decided = false;
  std::string energy_reason;
  std::vector<VanDifference> against;  // each of the others
};

struct Comparison {
  MileStudy study;  // vans in the order of `vans`
  std::vector<ComparedVan> vans;
  std::string currency;  // of its sums
};

struct VanToCompare {
  VanNames names;
  VanParts parts;
  VanKeep keep = {};
  MaybeFigure cost_per_mile = {};  // of the period, with what was lost in value
  MaybeFigure equivalent_years = {};
  std::vector<std::string> not_included = {};  // in cost_per_mile
  std::string narrower_cost = {};              // how to have cost_per_mile narrower
};

[[nodiscard]] Comparison compare(const std::vector<VanToCompare>& vans, const Period& period,
                                 const Zone& zone, const MileRules& rules = {});

// `decided` and `reason` of a row are about keeping or selling where [[keep]] says
// enough, else about the energy; `question` says which.
[[nodiscard]] std::vector<Column> compare_columns();
// van: index of Comparison::vans.
[[nodiscard]] Row row_of(const Comparison& comparison, std::size_t van);

}  // namespace packmile
