#include "cortex_m/boards/stm32f405/board.hpp"
#include "cortex_m/logger_image.hpp"

void packmile::cortex_m::run_machine() { run_logger<Board>(); }
