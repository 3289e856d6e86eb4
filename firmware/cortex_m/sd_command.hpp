// Commands, answers and tokens of an SD card on SPI, as far as a logger needs them.
//
// Standard  SD Physical Layer Simplified Specification, SPI mode; from memory.
#pragma once
#include <cstdint>

namespace packmile::cortex_m {

enum class SdCommand : std::uint8_t {
  go_idle = 0,
  send_if_cond = 8,
  send_csd = 9,
  send_cid = 10,
  send_status = 13,
  set_block_length = 16,
  read_block = 17,
  write_block = 24,
  send_op_cond = 41,  // only after app_command
  app_command = 55,
  read_ocr = 58,
  crc_on_off = 59
};

// Of the first byte of an answer, R1.
inline constexpr std::uint8_t kSdIdle = 0x01;
inline constexpr std::uint8_t kSdIllegal = 0x04;
inline constexpr std::uint8_t kSdNoAnswer = 0xFF;
// Of send_if_cond: 2.7 to 3.6 V, and a pattern that comes back.
inline constexpr std::uint32_t kSdIfCond = 0x1AA;
inline constexpr std::uint32_t kSdHighCapacityHost = 0x4000'0000;
// OCR: power-up done, block addresses, 3.2 to 3.4 V.
inline constexpr std::uint32_t kSdOcrPoweredUp = 0x8000'0000;
inline constexpr std::uint32_t kSdOcrHighCapacity = 0x4000'0000;
inline constexpr std::uint32_t kSdOcrVoltage = 0x0030'0000;
inline constexpr std::uint8_t kSdDataToken = 0xFE;
// What the card says of a block, without its three upper bits.
inline constexpr std::uint8_t kSdDataAccepted = 0x05;

}  // namespace packmile::cortex_m
