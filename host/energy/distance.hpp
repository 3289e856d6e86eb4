// How far a trip went.
//
// Input     odometer (0.1 km, cut down) and speed (whole km/h; rounded or cut is
//           not known for a single drive).
// Output    km with interval, and which signal it rests on.
// Rule      odometer from 2 km on (20 km where it counts whole kilometres), by
//           its steps where it is asked every second or oftener; below that, and
//           without an odometer, the integral of speed.
#pragma once
#include <string>
#include <vector>

#include "energy/motion.hpp"
#include "energy/van_account.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// 1 sd of the difference of two readings cut down to `step_km`: triangular.
[[nodiscard]] double u_of_floor_difference_km(double step_km);

struct TripDistance {
  MaybeFigure km;
  DistanceSource source = DistanceSource::none;
  std::vector<Finding> findings;
  // Why it may not enter a figure per mile; empty: it may.
  std::string doubt;
};

// moving: first to last movement; trip: its borders. whole_km: this van's
// odometer was never seen between two whole kilometres.
[[nodiscard]] TripDistance distance_of(const Episode& episode, const Span& trip, const Span& moving,
                                       bool whole_km, const EnergyRules& rules);

}  // namespace packmile
