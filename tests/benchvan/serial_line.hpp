// The two directions of the serial line between host and adapter, at the pace
// of a baud rate: 10 bits a byte. Whole lines are handed on when their last
// byte has passed; nobody acts on half a line.
//
// Bounded  a line longer than kMaxLineBytes is kept as too long; a queue that
//          is full drops whole lines and counts them.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <string_view>

#include "benchvan/bench_time.hpp"

namespace packmile::benchvan {

// The longest legal line, with its CR: a 29-bit frame of 8 bytes and a stamp.
inline constexpr std::size_t kMaxLineBytes = 31;

// Time of one byte; 0 baud: no time at all.
[[nodiscard]] constexpr Nanos byte_time_ns(unsigned baud) {
  return baud == 0 ? 0 : (10 * kNanosPerSecond + baud / 2) / static_cast<Nanos>(baud);
}

struct LineSetup {
  unsigned baud = 115200;  // 0: no pace
  // Each line reaches the host so much later: the latency timer of a USB bridge
  // whose buffer never fills. Keeps no other line back.
  double latency_ms = 0;
};

struct SerialLine {
  Nanos at_ns = 0;  // its last byte has passed
  std::array<char, kMaxLineBytes> text{};
  std::size_t length = 0;
  bool too_long = false;

  [[nodiscard]] std::string_view view() const { return {text.data(), length}; }
};

// Host to adapter: bytes in any chunks become lines without their CR.
class LineAssembler {
 public:
  explicit LineAssembler(unsigned baud) : byte_ns_(byte_time_ns(baud)) {}

  void on_bytes(Nanos now_ns, std::span<const std::uint8_t> bytes);
  [[nodiscard]] Nanos next_ns() const { return lines_.empty() ? kNever : lines_.front().at_ns; }
  // The next line whose time has come.
  [[nodiscard]] std::optional<SerialLine> take(Nanos now_ns);

 private:
  Nanos byte_ns_;
  Nanos free_ns_ = 0;
  SerialLine open_;
  std::deque<SerialLine> lines_;
};

// Adapter to host: lines with their CR or BEL.
class LinePacer {
 public:
  // Lines that an adapter of this kind can hold back. Common practice, no source.
  static constexpr std::size_t kMaxLines = 64;

  explicit LinePacer(const LineSetup& setup)
      : byte_ns_(byte_time_ns(setup.baud)),
        latency_ns_(nanos_of_seconds(setup.latency_ms / 1000)) {}

  // False: the queue is full, the line is lost.
  bool put(Nanos now_ns, std::string_view line);
  [[nodiscard]] Nanos next_ns() const { return lines_.empty() ? kNever : lines_.front().at_ns; }
  // Bytes of whole lines that have passed by now; 0: none.
  [[nodiscard]] std::size_t take(Nanos now_ns, std::span<std::uint8_t> out);

 private:
  Nanos byte_ns_;
  Nanos latency_ns_;
  Nanos free_ns_ = 0;
  std::deque<SerialLine> lines_;
};

}  // namespace packmile::benchvan
