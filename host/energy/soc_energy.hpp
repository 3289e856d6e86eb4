// Energy from the state of charge and a nominal capacity: the only teller where
// no pack current can be read. Wide, and said to be so.
#pragma once
#include "figure.hpp"

namespace packmile {

// fallen_pct: start minus end; negative while charging. step_pct: of the two
// readings. The net energy that left the pack, kWh.
[[nodiscard]] Figure soc_energy_kwh(double fallen_pct, double step_pct, double nominal_kwh);

// The same of a fall while nothing was heard of the van. All of it is random: the
// controller that puts its count right after a rest errs anew each time, so that
// the falls of a month do not err all to one side.
[[nodiscard]] Figure unheard_fall_kwh(double fallen_pct, double step_pct, double nominal_kwh);

}  // namespace packmile
