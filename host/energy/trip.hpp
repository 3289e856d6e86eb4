// One trip's row.
#pragma once
#include "energy/pack_energy.hpp"
#include "energy/segments.hpp"
#include "energy/van_account.hpp"

namespace packmile {

[[nodiscard]] Trip build_trip(const SegmentInput& input, const Segment& segment);

// A drive that nobody saw: the odometer moved across a silence. fallen_pct:
// SoC before minus after; absent: not answered, or the pack was charged too.
struct UnseenDrive {
  UtcTime start, end;
  TimeDoubt start_doubt, end_doubt;
  double km = 0;
  std::optional<double> fallen_pct;
  std::optional<double> soc_start_pct, soc_end_pct;
  double soc_step_pct = kSocPctPerCode;
  CurrentVerdict verdict = CurrentVerdict::too_little;
};
[[nodiscard]] Trip build_unseen_trip(const UnseenDrive& drive, const VanFacts& facts,
                                     const EnergyRules& rules);

// kwh_per_mile and wh_per_km from what the trip already holds. doubt: why the
// distance may not be used; empty: it may.
void set_energy_per_distance(Trip& trip, const std::string& doubt);

}  // namespace packmile
