// A modelled drive of a 2.9 t van, rougher than measured car drives: limited
// jerk, pedal noise of 0.5 and 4 s, 370 V behind 0.09 ohm, regen to 60 kW.
#pragma once
#include <cstdint>

#include "host/reading/replay.hpp"

namespace packmile::testing {

struct ModelDrive {
  std::uint32_t seed = 1;
  double seconds = 600;
  double hz = 5;
  double voltage_lag_s = 0;      // V answered this much later than I
  double voltage_noise_v = 0.4;  // 1 sd
  double nominal_ah = 160;       // of the SoC column
  bool speed = true;
  bool soc = true;
  CurrentCoding coding = CurrentCoding::twos_complement;
  CurrentSign sign = CurrentSign::discharge_positive;
};
Episode model_drive(const ModelDrive& drive);

}  // namespace packmile::testing
