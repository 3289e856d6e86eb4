// One classic CAN data or remote frame.
//
// Standard  ISO 11898-1 classic CAN: 11-bit or 29-bit id, at most 8 bytes.
#pragma once
#include <array>
#include <cstdint>

namespace packmile {

struct CanFrame {
  std::uint32_t id = 0;     // 0..7FF, or 0..1FFFFFFF when extended
  bool extended = false;    // 29-bit id
  bool remote = false;      // a remote frame has a length but no data
  std::uint8_t length = 0;  // 0..8
  std::array<std::uint8_t, 8> data{};

  bool operator==(const CanFrame&) const = default;
};

}  // namespace packmile
