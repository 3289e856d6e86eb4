// A serial CAN adapter: text lines from the host become commands and frames,
// frames from the bus become text lines. The bench's own reader and writer.
//
// Standard  slcan text lines as the Linux driver, can-utils and python-can
//           speak them.
// Strict    what the grammar does not allow is answered with BEL: ids above 7FF
//           or 1FFFFFFF, a length above 8, odd or missing digits, data in a
//           remote frame, lines longer than 31 bytes.
//
//   state      line                     next       answer
//   closed     S0..S8, sxxyy, Z0, Z1    closed     CR
//   closed     O (after an S)           open       CR
//   closed     L (after an S)           listening  CR
//   closed     frame, C                 closed     BEL
//   open       frame                    open       CR (z, Z and CR) once it is on the bus
//   listening  frame                    listening  BEL
//   open, listening   C                 closed     CR
//   open, listening   S, s, Z, O, L     unchanged  BEL
//   any        V, N, F, M, m, X1, U     unchanged  text and CR
//   any        P, A, anything else      unchanged  BEL
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "benchvan/bus_frame.hpp"
#include "benchvan/serial_line.hpp"

namespace packmile::benchvan {

class Adapter {
 public:
  // `z_confirm`: a frame is confirmed with z or Z before the CR.
  explicit Adapter(bool z_confirm) : z_confirm_(z_confirm) {}
  void set_z_confirm(bool z_confirm) { z_confirm_ = z_confirm; }

  struct Step {
    std::string_view answer{};           // for the host at once; empty: none yet
    std::optional<BusFrame> transmit{};  // for the bus; the answer is confirmation()
  };
  // One line without its CR. `too_long`: it did not fit and was cut.
  [[nodiscard]] Step on_line(std::string_view line, bool too_long);

  // The answer to a frame that has left on the bus.
  [[nodiscard]] std::string_view confirmation(const BusFrame& frame) const;
  // Whether frames of a bus with that rate are handed to the host.
  [[nodiscard]] bool hears(unsigned bus_kbit_per_s) const;
  // Open or listening, at any rate.
  [[nodiscard]] bool on_bus() const { return state_ != State::closed; }
  // The line for a frame from the bus, with its CR; valid until the next call.
  [[nodiscard]] std::string_view frame_line(const BusFrame& frame, Nanos now_ns);
  // Power was lost for a moment: closed, without a bit rate.
  void reset() {
    state_ = State::closed;
    kbit_per_s_.reset();
    stamps_ = false;
  }
  // The queue to the host was full: status flag of the F command.
  void note_lost_line() { status_flags_ |= 0x01; }

 private:
  enum class State : std::uint8_t { closed, listening, open };

  [[nodiscard]] Step on_setting(std::string_view line);

  bool z_confirm_;
  State state_ = State::closed;
  std::optional<unsigned> kbit_per_s_;  // absent: never set
  bool stamps_ = false;
  std::uint8_t status_flags_ = 0;
  std::array<char, 8> flags_text_{};
  std::array<char, kMaxLineBytes> line_text_{};
};

// A frame line without its CR; absent: not in the grammar.
[[nodiscard]] std::optional<BusFrame> read_frame_line(std::string_view line);

}  // namespace packmile::benchvan
