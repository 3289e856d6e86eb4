#include "cortex_m/logger_image.hpp"

namespace packmile::cortex_m {

constinit TicklessClock system_clock;

void on_sys_tick() { system_clock.on_interrupt(); }

}  // namespace packmile::cortex_m
