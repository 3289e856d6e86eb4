// What the image of every board does: the machine on the board's own clock.
#include <optional>

#include "cortex_m/last_words.hpp"
#include "cortex_m/machine.hpp"
#include "cortex_m/start_up.hpp"
#include "cortex_m/tickless_clock.hpp"
// board.hpp of the board that the image is for.
#include PACKMILE_BOARD_HEADER

namespace packmile::cortex_m {

constinit TicklessClock system_clock;

void on_sys_tick() { system_clock.on_interrupt(); }

void run_machine() {
  const std::optional<LastWords> last = take_last_words();
  Board::start();
  system_clock.start(Board::cycles_per_ms());
  build_machine<Board>(system_clock, last).run();
}

}  // namespace packmile::cortex_m
