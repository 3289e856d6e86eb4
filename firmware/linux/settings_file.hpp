// The port's own settings: line, card, and its log. What the logger obeys is not
// here but in the settings sector of the card.
//
// Standard  TOML 1.0.
// Input     [port] adapter, baud, card; [log] file, level, max_bytes, files.
// Rule      an unknown key or a wrong type refuses the file, with its place.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "linux/port_error.hpp"

namespace packmile::port {

enum class LogLevel : std::uint8_t { debug, info, warning, error, off };

// "debug" .. "off"; none: not a level.
[[nodiscard]] std::optional<LogLevel> log_level_of(const std::string& name);

struct FileSettings {
  std::optional<std::string> adapter;  // path of the serial line
  std::optional<std::uint32_t> baud;
  std::optional<std::string> card;  // log file, or the folder it is in
  // The log of the port itself; without a file it goes to stderr.
  std::optional<std::string> log_file;
  LogLevel log_level = LogLevel::warning;
  std::uint64_t log_max_bytes = 1 << 20;  // of one file, before the next is begun
  std::uint32_t log_files = 3;            // kept beside the present one
};

// All errors of the file at once, in the order of their lines.
[[nodiscard]] std::variant<FileSettings, std::vector<PortError>> read_settings_file(
    const std::string& path);

// Rates that a serial line of this system can be set to.
[[nodiscard]] std::span<const std::uint32_t> known_bauds();
[[nodiscard]] bool is_known_baud(std::uint32_t baud);
// "9600, 19200, ..."
[[nodiscard]] std::string known_bauds_text();

}  // namespace packmile::port
