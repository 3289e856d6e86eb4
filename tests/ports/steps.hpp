// What passes between the player of a script and a port, as lines of text.
//
//   to the port    boot TICK ENTROPY UNIX_MS   power-up, and its first turn
//                  step TICK BYTES EVENT       it is TICK; BYTES more are on the adapter's
//                                              line; EVENT: - lost stop
//   from the port  D DUE                       it has done all that there was to do, and
//                                              sleeps until DUE; never: -
#pragma once
#include <cinttypes>
#include <cstdint>
#include <cstdio>
#include <optional>
#include <string_view>

#include "core/logger.hpp"
#include "ports/virtual_port.hpp"

namespace packmile::ports {

enum class StepEvent : std::uint8_t { none, lost, stop };

struct Step {
  Tick tick = 0;
  std::size_t bytes = 0;
  StepEvent event = StepEvent::none;
};

// None: the player has gone, or does not keep to the form.
[[nodiscard]] inline std::optional<Boot> read_boot() {
  Boot boot;
  if (std::scanf("boot %" SCNu64 " %" SCNu32 " %" SCNu64, &boot.tick, &boot.entropy,
                 &boot.unix_ms) != 3)
    return std::nullopt;
  return boot;
}

[[nodiscard]] inline std::optional<Step> read_step() {
  Step step;
  char event[8] = "";
  if (std::scanf(" step %" SCNu64 " %zu %7s", &step.tick, &step.bytes, event) != 3)
    return std::nullopt;
  if (std::string_view(event) == "lost") step.event = StepEvent::lost;
  if (std::string_view(event) == "stop") step.event = StepEvent::stop;
  return step;
}

inline void answer_step(Tick due) {
  if (due == kNoDeadline)
    std::puts("D -");
  else
    std::printf("D %" PRIu64 "\n", due);
  std::fflush(stdout);
}

}  // namespace packmile::ports
