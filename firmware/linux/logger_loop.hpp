// The turns of class Logger on a Linux machine: serial line, card file, clock.
//
// Method    one thread takes the turns; the card has a thread of its own, because
//           a slow card must not delay a flow control frame (ISO 15765-4: 75 ms).
// Rule      any error on the line means that it is gone; it is opened again by
//           the same path, with a growing pause.
#pragma once
#include <cstdint>
#include <optional>
#include <string>

#include "linux/card_file.hpp"
#include "linux/journal.hpp"
#include "linux/port_error.hpp"

namespace packmile::port {

struct LoopSettings {
  std::string adapter;  // stable path of the serial line
  std::uint32_t baud = 115200;
};

// Returns after SIGTERM or SIGINT, when the open sector is written. An error:
// the line cannot be set to the rate wanted.
[[nodiscard]] std::optional<PortError> run_logger(const LoopSettings& settings, CardFile& card,
                                                  Journal& journal);

}  // namespace packmile::port
