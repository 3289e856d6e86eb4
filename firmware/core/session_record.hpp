// The session record: what is needed to understand the sectors of one boot.
//
// Standard  packmile.Session in packmile.proto; field numbers in wire.hpp.
// Output    one Record of at most 480 bytes per sector. What does not fit, whole
//           ECUs, polls and definitions, goes on in the next session sector.
// Pure      no heap, no I/O.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "core/owners_signals.hpp"
#include "core/poll_plan.hpp"
#include "core/port.hpp"
#include "core/van_map.hpp"
#include "sector/sector.hpp"
#include "tick.hpp"

namespace packmile {

// Version of this logger, as every session record names it.
[[nodiscard]] std::string_view logger_version();

// Counted since power-up; what each means stands in packmile.proto.
struct LoggerCounters {
  std::uint32_t requests = 0;
  std::uint32_t responses = 0;
  std::uint32_t timeouts = 0;
  std::uint32_t negative_responses = 0;
  std::uint32_t pending_responses = 0;
  std::uint32_t isotp_dropped = 0;
  std::uint32_t lines_discarded = 0;
  std::uint32_t adapter_reopened = 0;
  std::uint32_t refused_transmits = 0;
  std::uint32_t requests_while_parked = 0;
  std::uint32_t foreign_tester_events = 0;
  std::uint32_t card_write_failures = 0;
  std::uint32_t dropped_samples = 0;
  std::uint32_t other_frames_per_s = 0;  // the most in one second
  std::uint32_t echoed_frames = 0;
  std::uint32_t late_answers = 0;
  std::uint32_t reply_wait_ms = 0;  // 0: as usual

  bool operator==(const LoggerCounters&) const = default;
};

// Everything that a session record says; views into the logger's own state.
struct SessionSource {
  Tick tick = 0;
  std::string_view van;  // from the settings; UTF-8
  BootCause reset_cause = BootCause::unknown;
  std::optional<WallClockReading> clock;
  std::uint16_t kbit_per_s = 0;  // 0: not known yet
  bool extended_ids = false;
  const VanMap* map = nullptr;  // nullptr: not known yet
  std::span<const PollRequest> polls{};
  const OwnersSignals* owners = nullptr;  // nullptr: none
  LoggerCounters counters{};
  std::uint16_t supply_min_mv = 0;  // 0: this logger cannot measure it
  bool clean_stop = false;          // the last record before a stop that was asked for
  std::uint32_t listen_only_s = 0;  // 0: it was not reset too often
  std::uint8_t not_found_in_row = 0;
  FaultRecord fault{};
};

class SessionWriter {
 public:
  // Begins a new snapshot, from its first part.
  [[gnu::noinline]] void start();
  // A part of the snapshot is still to be written.
  [[nodiscard]] bool pending() const { return pending_; }
  // Writes the next part as a Record; returns its bytes, at most 480. `source`
  // must be the same in every part, its tick and counters aside.
  [[nodiscard]] std::size_t write(const SessionSource& source,
                                  std::span<std::uint8_t, kSectorPayloadBytes> out);

 private:
  bool pending_ = false;
  bool head_written_ = false;
  std::uint8_t next_ecu_ = 0;
  std::uint8_t next_poll_ = 0;
  std::uint8_t next_owners_ = 0;
};

}  // namespace packmile
