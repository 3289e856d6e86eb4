// What passes between the logger core and a port: plain values, no callbacks.
#pragma once
#include <cstddef>
#include <cstdint>
#include <span>

#include "tick.hpp"

namespace packmile {

// What a deadline() says when nothing waits for the clock.
inline constexpr Tick kNoDeadline = ~Tick{0};

// Values of packmile.ResetCause.
enum class BootCause : std::uint8_t {
  unknown = 0,
  power_on = 1,
  requested = 2,
  watchdog = 3,
  fault = 4
};

// Values of packmile.ClockSource.
enum class WallClockSource : std::uint8_t { none = 0, prepared = 1, rtc = 2, system = 3, gnss = 4 };

// A wall clock as read by the port. `tick` is when it was read.
// Not named like the message packmile.ClockReading: a program may hold
// both classes.
struct WallClockReading {
  WallClockSource source = WallClockSource::none;
  std::uint64_t unix_ms = 0;
  Tick tick = 0;
  std::uint32_t resolution_ms = 0;
};

enum class AdapterLink : std::uint8_t { lost, up };

enum class CardOperation : std::uint8_t { read, write };

// One sector that the core wants read or written, counted from the start of what
// the port has opened. For a write, `sector` holds 512 bytes that stay valid
// until the answer.
struct CardRequest {
  CardOperation operation = CardOperation::read;
  std::uint32_t address = 0;
  const std::uint8_t* sector = nullptr;
};

// The port's answer to the one request that is open. `sector` is 512 bytes,
// valid during the call, after a read that succeeded.
struct CardAnswer {
  bool ok = false;
  const std::uint8_t* sector = nullptr;
};

// For whatever lamp a port has.
enum class Light : std::uint8_t {
  starting,        // looking for the card's end, the adapter, the van
  waiting,         // nothing answers; listening
  recording,       // answers come and are being kept
  card_trouble,    // the card does not take writes
  adapter_trouble  // the adapter is gone or does not answer
};

// What the port has opened.
enum class CardLayout : std::uint8_t {
  log,    // the log alone: sector 0 is its settings sector
  volume  // a whole card: the log is a file in a FAT32 file system, or, where
          // sector 0 is a settings sector, the card is the log
};

// What a fault handler wrote down before the reset that this boot follows; the
// fields of packmile.Fault.
struct FaultRecord {
  std::uint32_t exception = 0;  // its number; 0: there is none
  std::uint32_t program_counter = 0;
  std::uint32_t link_register = 0;
  std::uint32_t status = 0;
};

// What only the port knows at power-up.
struct PowerUp {
  // Sectors of what the port has opened; the ring is cut down to whole 16 KiB.
  std::uint64_t card_sectors = 0;
  CardLayout layout = CardLayout::log;
  BootCause reset_cause = BootCause::unknown;
  // Anything that differs between boots; mixed into the boot id. 0: none.
  std::uint32_t entropy = 0;
  FaultRecord fault{};
};

}  // namespace packmile
