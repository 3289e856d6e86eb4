// What braking set free and the pack took back, trip by trip: what the friction
// share of any period and mass is told from.
//
// Input     episodes with their segments.
// Output    sums of each trip that had falls of speed.
// Method    pack power at the moments of the speed's words, on the straight line
//           between rows of an agreed reading; none across a gap.
#pragma once
#include <vector>

#include "duty/friction.hpp"
#include "energy/session.hpp"

namespace packmile {

struct TripBraking {
  UtcTime start;
  FallSums falls;
};

class BrakeWatch {
 public:
  void add(const PlannedEpisode& planned);
  // In order of time.
  [[nodiscard]] std::vector<TripBraking> finish();

 private:
  std::vector<TripBraking> trips_;
  std::vector<DriveSample> samples_;  // of one trip; kept for its memory
};

}  // namespace packmile
