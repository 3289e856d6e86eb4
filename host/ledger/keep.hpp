// Keep a van or sell it: what the owner entered in [[keep]] of fleet.toml, the van's
// own use, and whether it still does its round in winter.
//
// Input     [[keep]] of the van, what it did by day, its trips and capacity rows.
// Output    a break-even price, or the list of what is missing.
// Rule      no price is ever assumed; only the distance a year may come from the
//           van's own use.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "ledger/fleet.hpp"
#include "ledger/van_duty.hpp"
#include "money/break_even.hpp"
#include "pack/capacity.hpp"

namespace packmile {

// How far the pack as it is today reaches at the energy of the coldest month, and how
// far the van has to go.
struct WinterRange {
  MaybeFigure range_km;
  std::string month;                // "2026-01", the coldest on record
  std::optional<double> ambient_c;  // its mean
  // Nineteen of twenty driving days were shorter; absent: round_why.
  std::optional<double> round_km;
  std::string round_why;
  std::string text;  // one sentence, or why nothing can be said
};
// capacity: as the ledger keeps it; nominal_kwh: absent, not given.
[[nodiscard]] WinterRange winter_range_of(const std::vector<Trip>& trips, const VanDuty& duty,
                                          const std::vector<CapacityRow>& capacity,
                                          const Zone& zone);

struct VanKeep {
  std::optional<KeepOrSell> told;
  std::string why;     // there is none: what is missing, or what is wrong
  std::string reason;  // of the verdict; why, where there is none
  std::string inputs;  // the three that move the price most; empty: none does
  WinterRange winter;
};
// annual_km: what the owner expects it to drive; absent: not said.
[[nodiscard]] VanKeep keep_van(const FleetKeep& keep, std::optional<double> annual_km,
                               const VanDuty& duty, const std::vector<Trip>& trips,
                               const std::vector<CapacityRow>& capacity, const Zone& zone,
                               const std::string& currency);

}  // namespace packmile
