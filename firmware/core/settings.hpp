// What the logger obeys: the settings sector of the card, or the defaults.
//
// Standard  packmile.Settings in packmile.proto, in sector 0 of the log.
// Input     the 512 bytes of sector 0.
// Rule      all or nothing: a field that is not known, of the wrong type or out
//           of range refuses the whole, and the defaults are in force. Nothing
//           here can widen the transmit gate, but for the identifiers of owner's
//           signals, which are only ever read.
// Pure      no heap, no I/O.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/battery_levels.hpp"
#include "core/owners_signals.hpp"
#include "sector/sector.hpp"

namespace packmile {

// Slowest poll period that settings may ask for, and the bounds of a sector's
// deadline. Common practice, no source: a deadline beyond 5 min loses too much
// at a power cut, one below 1 s writes a card full of empty sectors.
inline constexpr std::uint32_t kMaxPeriodMs = 60'000;
inline constexpr std::uint32_t kMinDeadlineMs = 1'000;
inline constexpr std::uint32_t kMaxDeadlineMs = 300'000;
// Deadlines in force when the settings say nothing (512 bytes each 10 s: about
// 50 MB a van-month of driving).
inline constexpr std::uint32_t kDrivingDeadlineMs = 10'000;
inline constexpr std::uint32_t kChargingDeadlineMs = 30'000;

enum class SettingsOutcome : std::uint8_t {
  not_read,          // sector 0 has not been looked at yet
  taken,             // in force
  no_settings,       // sector 0 is blank, damaged or of another kind
  malformed,         // not protobuf, or a name that is not UTF-8
  unknown_field,     // a field that this version does not know
  wrong_type,        // a known field of another wire type
  name_too_long,     // van name above kMaxVanNameBytes
  out_of_range,      // a period or deadline outside its bounds, an unknown battery
  bad_owners_signal  // a definition that breaks a rule of packmile.proto, or too many
};

struct LoggerSettings {
  // UTF-8, not terminated; empty: not given.
  std::array<char, kMaxVanNameBytes> van{};
  std::uint8_t van_bytes = 0;
  // Clock of the host that prepared the card, milliseconds since 1970; 0: none.
  std::uint64_t prepared_unix_ms = 0;
  // Period of pack voltage, current and speed; 0: ask again as soon as the
  // answer is in; absent: the logger's own schedule.
  std::optional<std::uint32_t> driving_period_ms;
  std::optional<std::uint32_t> charging_period_ms;
  // A sector closes when its oldest sample is this old.
  std::uint32_t driving_deadline_ms = kDrivingDeadlineMs;
  std::uint32_t charging_deadline_ms = kChargingDeadlineMs;
  BatteryKind battery = BatteryKind::lead;

  bool operator==(const LoggerSettings&) const = default;
};

// Reads one Record that holds settings. `settings` is set only when the outcome
// is `taken`; else `owners` is empty.
[[nodiscard]] SettingsOutcome read_settings_record(std::span<const std::uint8_t> record,
                                                   LoggerSettings& settings, OwnersSignals& owners);

// The same from a whole sector. `header` is set when the sector is a good
// settings sector, even if its record is refused: log id and ring size hold.
[[nodiscard]] SettingsOutcome read_settings_sector(
    std::span<const std::uint8_t, kSectorBytes> sector, LoggerSettings& settings,
    OwnersSignals& owners, std::optional<SectorHeader>& header);

}  // namespace packmile
