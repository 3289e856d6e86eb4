// The two checksums of an SD card, a byte at a time and without tables.
//
// Standard  SD Physical Layer Simplified Specification 4.5: CRC7 = x^7 + x^3 + 1
//           over commands, CRC16 = x^16 + x^12 + x^5 + 1 over data; both start
//           at 0, highest bit first.
#pragma once
#include <cstdint>

namespace packmile::cortex_m {

// CRC7 held in the upper seven bits, as it goes over the line; the byte that ends
// a command is `crc7 | 1`.
constexpr std::uint8_t crc7_next(std::uint8_t crc7, std::uint8_t byte) {
  crc7 = static_cast<std::uint8_t>(crc7 ^ byte);
  for (int bit = 0; bit < 8; ++bit)
    crc7 = static_cast<std::uint8_t>((crc7 << 1) ^ ((crc7 & 0x80) != 0 ? 0x09 << 1 : 0));
  return crc7;
}

// The polynomial has four terms: the eight shifts of a byte fold into three.
constexpr std::uint16_t crc16_next(std::uint16_t crc16, std::uint8_t byte) {
  std::uint32_t folded = static_cast<std::uint32_t>(crc16 >> 8) ^ byte;
  folded ^= folded >> 4;
  return static_cast<std::uint16_t>((std::uint32_t{crc16} << 8) ^ (folded << 12) ^ (folded << 5) ^
                                    folded);
}

}  // namespace packmile::cortex_m
