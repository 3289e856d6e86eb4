// Energy from the state of charge and a nominal capacity: the only teller where
// no pack current can be read. Wide, and said to be so.
#pragma once
#include "figure.hpp"

namespace packmile {

// codes_fallen: start minus end, 1/255 of the range; negative while charging.
// The net energy that left the pack, kWh.
[[nodiscard]] Figure soc_energy_kwh(double codes_fallen, double nominal_kwh);

}  // namespace packmile
