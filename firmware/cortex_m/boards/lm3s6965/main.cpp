#include "cortex_m/boards/lm3s6965/board.hpp"
#include "cortex_m/logger_image.hpp"

void packmile::cortex_m::run_machine() { run_logger<Board>(); }
