// What one run of the machine leaves for the next in RAM that a reset keeps.
//
// Rule      believed only with its mark and checksum: after a power cut RAM holds
//           anything.
#pragma once
#include <cstdint>
#include <optional>

#include "core/port.hpp"

namespace packmile::cortex_m {

struct LastWords {
  BootCause cause = BootCause::unknown;
  FaultRecord fault{};  // of a fault, and of the watchdog's victim
};

// Of the run before this one, once; none: the power was off.
[[nodiscard]] std::optional<LastWords> take_last_words();
// Writes them and resets the machine.
[[noreturn]] void reset_with(const LastWords& words);
[[noreturn]] inline void restart() { reset_with({.cause = BootCause::requested}); }

}  // namespace packmile::cortex_m
