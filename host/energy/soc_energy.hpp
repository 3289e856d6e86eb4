// Energy from the state of charge and a nominal capacity: the only teller where
// no pack current can be read. Wide, and said to be so.
#pragma once
#include "figure.hpp"

namespace packmile {

// fallen_pct: start minus end; negative while charging. step_pct: of the two
// readings. The net energy that left the pack, kWh.
[[nodiscard]] Figure soc_energy_kwh(double fallen_pct, double step_pct, double nominal_kwh);

}  // namespace packmile
