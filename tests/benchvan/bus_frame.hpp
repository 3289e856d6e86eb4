// One classic CAN frame as the bench sees it. The bench's own type: it shares
// nothing with the logger under test.
//
// Standard  ISO 11898-1 classic CAN; ISO 15765-4 for the ids.
#pragma once
#include <array>
#include <cstdint>

#include "benchvan/bench_time.hpp"

namespace packmile::benchvan {

struct BusFrame {
  std::uint32_t id = 0;     // 0..7FF, or 0..1FFFFFFF when extended
  bool extended = false;    // 29-bit id
  bool remote = false;      // has a length but no data
  std::uint8_t length = 0;  // 0..8
  std::array<std::uint8_t, 8> data{};

  bool operator==(const BusFrame&) const = default;
};

// How long the frame holds the bus, with the most stuff bits it can have and
// the interframe space: 8n+47 (8n+67) bits and one more in four of the stuffed
// part.
[[nodiscard]] constexpr Nanos bus_time_ns(const BusFrame& frame, unsigned kbit_per_s) {
  const int data_bits = frame.remote ? 0 : 8 * frame.length;
  const int fixed_bits = frame.extended ? 67 : 47;
  const int stuffed_bits = frame.extended ? 54 : 34;
  const int bits = data_bits + fixed_bits + (stuffed_bits + data_bits - 1) / 4;
  return static_cast<Nanos>(bits) * kNanosPerMs / static_cast<Nanos>(kbit_per_s);
}

}  // namespace packmile::benchvan
