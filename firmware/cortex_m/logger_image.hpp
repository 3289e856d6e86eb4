// What the image of every board does: the machine on the board's own clock.
#pragma once
#include "cortex_m/last_words.hpp"
#include "cortex_m/machine.hpp"
#include "cortex_m/start_up.hpp"
#include "cortex_m/tickless_clock.hpp"

namespace packmile::cortex_m {

extern TicklessClock system_clock;

template <class Board>
[[noreturn]] void run_logger() {
  const std::optional<LastWords> last = take_last_words();
  Board::start();
  system_clock.start(Board::cycles_per_ms());
  build_machine<Board>(system_clock, last).run();
}

}  // namespace packmile::cortex_m
