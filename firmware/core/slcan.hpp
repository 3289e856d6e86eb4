// Text lines of a serial CAN adapter: bytes to events, frames and commands to
// bytes.
//
// Standard  slcan as the Linux kernel driver, can-utils and python-can read and
//           write it.
// Input     bytes in any chunking; CR or BEL ends a line.
// Output    at most one event per byte, at the end of its line.
// Strict    ids above 7FF / 1FFFFFFF, odd hex, wrong length, DLC above 8, stamps
//           above EA5F are discarded, not guessed at.
// Bounded   kMaxSlcanLineBytes; a longer line is discarded as a whole, reading
//           goes on after the next CR or BEL.
//
//   line                      ended by   event
//   (empty)                   CR         accepted
//   z or Z                    CR         accepted
//   (empty), z or Z           BEL        refused
//   t T r R ...               either     frame
//   Fxx                       either     status
//   e<n><n codes>             either     error
//   s<state><3 dec><3 dec>    either     state
//   V<4 alnum>, N<4 alnum>    either     version, serial
//   anything else             either     discarded
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "core/can_frame.hpp"

namespace packmile {

// T1111222281122334455667788EA5F and its CR: SLC_MTU of the kernel driver.
inline constexpr std::size_t kMaxSlcanLineBytes = 31;
// Stamps count milliseconds modulo one minute.
inline constexpr std::uint16_t kMaxSlcanStampMs = 59999;

enum class SlcanEventKind : std::uint8_t {
  frame,      // frame, stamp_ms
  accepted,   // the command or transmission in flight was taken
  refused,    // the command or transmission in flight was not taken
  status,     // status_flags
  error,      // errors
  state,      // bus_state, rx_errors, tx_errors
  version,    // text
  serial,     // text
  discarded,  // a line that means nothing here, or one too long
};

// Bits of SlcanEvent::status_flags, the answer to F. From memory: adapters'
// manuals agree, no public standard was read.
namespace slcan_status {
enum : std::uint8_t {
  rx_queue_full = 1 << 0,
  tx_queue_full = 1 << 1,
  error_warning = 1 << 2,
  data_overrun = 1 << 3,
  error_passive = 1 << 5,
  arbitration_lost = 1 << 6,
  bus_error = 1 << 7,
};
}

// Bits of SlcanEvent::errors, one per code letter of an error line.
namespace slcan_error {
enum : std::uint8_t {
  ack = 1 << 0,         // a: nobody acknowledged
  bit0 = 1 << 1,        // b
  bit1 = 1 << 2,        // B
  crc = 1 << 3,         // c
  form = 1 << 4,        // f
  rx_overrun = 1 << 5,  // o
  tx_overrun = 1 << 6,  // O
  stuff = 1 << 7,       // s
};
}

enum class SlcanBusState : std::uint8_t { active, warning, passive, off };

// The kind says which members carry a value; the others keep their defaults.
struct SlcanEvent {
  SlcanEventKind kind = SlcanEventKind::discarded;
  std::uint8_t status_flags = 0;  // slcan_status bits
  std::uint8_t errors = 0;        // slcan_error bits
  SlcanBusState bus_state = SlcanBusState::active;
  std::uint16_t rx_errors = 0;            // 0..999
  std::uint16_t tx_errors = 0;            // 0..999
  std::optional<std::uint16_t> stamp_ms;  // 0..59999; none unless the adapter stamps
  std::array<char, 4> text{};             // as sent, not terminated
  CanFrame frame;

  bool operator==(const SlcanEvent&) const = default;
};

class SlcanReader {
 public:
  // The event of the line that this byte ends; none inside a line.
  // noinline: its frame must not lie below everything that a line leads to.
  [[nodiscard, gnu::noinline]] std::optional<SlcanEvent> on_byte(std::uint8_t byte);
  // Forgets what has come of the present line. Afterwards like new.
  void reset();

 private:
  // Without its end: a line that fills this and goes on is too long.
  std::array<char, kMaxSlcanLineBytes - 1> line_{};
  std::uint8_t size_ = 0;
  bool too_long_ = false;
};

// Everything that can be asked of the adapter itself; see TransmitGate.
enum class AdapterCommand : std::uint8_t {
  close,
  rate_500,     // kbit/s; only while closed
  rate_250,     // kbit/s; only while closed
  open,         // acknowledges and transmits
  listen_only,  // open without ever driving the bus
  status,       // answered by Fxx
};

// The command's line, CR included.
[[nodiscard]] std::string_view slcan_line(AdapterCommand command);

// Writes the frame's line, CR included, in upper-case hex without stamp. Returns
// its bytes; 0: `out` is too small or the frame is not one of classic CAN, and
// nothing was written.
[[nodiscard]] std::size_t write_slcan(const CanFrame& frame, std::span<std::uint8_t> out);

}  // namespace packmile
