// Which PIDs of service 01, or info types of service 09, one ECU answers.
//
// Standard  SAE J1979: bitmap of base B (00 20 .. E0): bit 7 of its first byte is
//           B+1, bit 0 of its last byte B+20, which is also the next bitmap.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace packmile {

inline constexpr std::size_t kPidRanges = 8;

[[nodiscard]] constexpr bool is_bitmap_pid(std::uint8_t pid) { return (pid & 0x1F) == 0; }

class SupportedPids {
 public:
  // Takes one bitmap as answered. False, and nothing changes: `base` is no
  // bitmap PID or there are not four bytes.
  bool set(std::uint8_t base, std::span<const std::uint8_t> bitmap);
  // PID 00 itself: has its bitmap been answered?
  [[nodiscard]] bool has(std::uint8_t pid) const;
  [[nodiscard]] bool answered(std::uint8_t base) const;
  // The bitmap to ask for next: the first not yet answered, if the one before
  // it says that it exists.
  [[nodiscard]] std::optional<std::uint8_t> next_base() const;
  // Ranges up to the last one answered, 0..8; those between may be empty.
  [[nodiscard]] std::size_t ranges() const;
  // The four bytes of range 0..7 as answered, first byte highest; else 0.
  [[nodiscard]] std::uint32_t bitmap(std::size_t range) const;

  bool operator==(const SupportedPids&) const = default;

 private:
  std::array<std::uint32_t, kPidRanges> bits_{};
  std::uint8_t answered_ = 0;  // one bit a range
};

}  // namespace packmile
