// Energy from the state of charge and a nominal capacity: the only teller where
// no pack current can be read. Wide, and said to be so.
#pragma once
#include "figure.hpp"

namespace packmile {

// fallen_pct: start minus end; negative while charging. step_pct: of the two
// readings. The net energy that left the pack, kWh.
[[nodiscard]] Figure soc_energy_kwh(double fallen_pct, double step_pct, double nominal_kwh);

// The same of a fall while nothing was heard of the van; fallen_pct > 0. How much the
// controller was off by at either end is random; that it was all the controller's
// and no energy may be so of every fall alike, and adds up.
[[nodiscard]] Figure unheard_fall_kwh(double fallen_pct, double step_pct, double nominal_kwh);

}  // namespace packmile
