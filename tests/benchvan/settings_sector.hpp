// The settings sector in the head of a log: made, read, changed. Apart from the
// card file because the schema's classes and the core's plain values share
// names and cannot be seen by one file.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "benchvan/owners_fields.hpp"
#include "sector/sector.hpp"

namespace packmile::benchvan {

using SectorBytes = std::array<std::uint8_t, kSectorBytes>;

// What the head's settings sector says.
struct CardSettings {
  std::string van{};
  std::uint64_t prepared_unix_ms = 0;
  // Period of pack voltage, current and speed, driving and charging alike;
  // 0: as fast as the answers come; absent: the logger's own schedule.
  std::optional<std::uint32_t> poll_period_ms{};
  // The owner's signals, in the order of their ids.
  std::vector<OwnersField> fields{};
};

// Absent: name and signals are too long for a sector.
[[nodiscard]] std::optional<SectorBytes> make_settings_sector(std::uint32_t log_id,
                                                              std::uint32_t ring_sectors,
                                                              const CardSettings& settings);

// The same settings with that poll period in force. Absent: not a good settings
// sector.
[[nodiscard]] std::optional<SectorBytes> with_poll_period(
    const SectorBytes& sector, std::optional<std::uint32_t> poll_period_ms);

// The owner's signals in the settings, as they stand there: not judged. Absent:
// not a good settings sector.
[[nodiscard]] std::optional<std::vector<OwnersField>> fields_in(const SectorBytes& sector);

}  // namespace packmile::benchvan
