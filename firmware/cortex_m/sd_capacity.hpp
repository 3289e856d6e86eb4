// How large an SD card is, by its CSD register.
//
// Standard  SD Physical Layer Simplified Specification, CSD 1.0 and 2.0; from memory.
#pragma once
#include <cstddef>
#include <cstdint>
#include <span>

namespace packmile::cortex_m {

inline constexpr std::size_t kSdRegisterBytes = 16;

// The last sector of 512 bytes: of 2^32 sectors, 2 TB, it still fits 32 bits.
// `high_capacity`: the card takes block addresses. 0: a register that contradicts
// that, or that cannot be right.
constexpr std::uint32_t sd_last_sector_of(std::span<const std::uint8_t, kSdRegisterBytes> csd,
                                          bool high_capacity) {
  if (csd[0] >> 6 != (high_capacity ? 1 : 0)) return 0;
  if (high_capacity) {
    const std::uint32_t c_size = static_cast<std::uint32_t>(csd[7] & 0x3F) << 16 |
                                 static_cast<std::uint32_t>(csd[8]) << 8 | csd[9];
    return c_size << 10 | 0x3FF;  // of (C_SIZE + 1) x 512 KB
  }
  // Blocks of 512, 1024 or 2048 bytes; there are no others.
  const int block_shift = csd[5] & 0x0F;
  if (block_shift < 9 || block_shift > 11) return 0;
  const std::uint32_t c_size = static_cast<std::uint32_t>(csd[6] & 0x03) << 10 |
                               static_cast<std::uint32_t>(csd[7]) << 2 | csd[8] >> 6;
  const int c_size_mult = (csd[9] & 0x03) << 1 | csd[10] >> 7;
  return ((c_size + 1) << (c_size_mult + 2 + block_shift - 9)) - 1;
}

}  // namespace packmile::cortex_m
