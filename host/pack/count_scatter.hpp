// By what a controller's count strays from its own scale, told by the van's own
// charges; and the same of what it makes of its rests.
//
// Input     charges with the sensor's offset taken off.
// Output    the 1 sd of each charge's share (point.u_x), learned; apart_x.
// Method    residuals of like charges (one segment, month and temperature stratum)
//           about their common slope, less what edges and Ah explain, pooled with
//           CapacityRules::count_u as if that were the word of two charges more.
#pragma once
#include <vector>

#include "pack/charge_capacity.hpp"

namespace packmile {

// Charges that tell no capacity are left as they are.
void learn_count_scatter(std::vector<ChargeCapacity>& charges, const CapacityRules& rules);

// The same for stretches between rests, of one segment: their u_x, as they are given,
// are what is taken without evidence.
void learn_rest_scatter(std::vector<PointWithErrors>& points);

}  // namespace packmile
