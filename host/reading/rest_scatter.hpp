// How well a controller's state of charge repeats from rest to rest, told by the pack's
// voltage at the same rests.
//
// Input     voltage and state of charge at rests of one van, in any order.
// Output    1 sd of one state of charge, as a share of the pack, beside the rounding of
//           its step.
// Method    in order of voltage the state of charge follows a smooth curve; what the
//           middle one of three neighbours lies off the straight line between the other
//           two is scatter. Put together with what is taken without evidence
//           (kSocAtRestU), worth kPriorRests of them; overlapping threes count half.
// Caution   the voltage's own scatter (load, warmth, cells not yet settled) is in it, so
//           it is rather too wide. A curve that is wrong in the same way at each rest
//           shows nothing: it cancels between rests with the same state of charge only.
// Refuses   nothing: neighbours more than 2 % of the voltage or 10 points apart (a flat
//           chemistry, few rests) tell nothing, and what is taken stays.
// Source    residuals of neighbouring threes: Gasser, Sroka, Jennen-Steinmetz, Biometrika
//           73 (1986) 625 (from memory, as is that they count half); inverse chi-square
//           prior: textbooks of Bayesian statistics.
#pragma once
#include <span>

namespace packmile {

struct RestReading {
  double pack_v = 0;
  double soc_pct = 0;
  double soc_step_pct = 0;
};

[[nodiscard]] double rest_scatter_u(std::span<const RestReading> rests);

}  // namespace packmile
