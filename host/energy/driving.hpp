// How a trip was driven: at what speed while it moved, and how often it stopped.
//
// Input     the speed column over a trip's movement, whole km/h.
// Method    trapezoid of speed over the time with speed at one end at least; a
//           step with speed at one end only counts half as time. A stop is a
//           fall to 0 after moving_kmh was reached: creeping in a queue is none.
// Refuses   where a tenth of the movement or more was not answered.
#pragma once
#include <optional>

#include "energy/motion.hpp"
#include "timeline/episode.hpp"

namespace packmile {

struct Driving {
  double moving_kmh = 0;  // mean while moving, in km of the odometer where that told its scale
  double stops = 0;       // the last one included
};

// moving: from the first to the last movement. Absent: speed was not answered,
// or not well enough.
[[nodiscard]] std::optional<Driving> driving_of(const Episode& episode, const Span& moving,
                                                const EnergyRules& rules);

}  // namespace packmile
