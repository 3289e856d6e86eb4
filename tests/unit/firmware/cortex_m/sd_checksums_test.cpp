// The card's checksums and its size, against examples of others.
#include <doctest/doctest.h>

#include <string_view>

#include "cortex_m/sd_capacity.hpp"
#include "cortex_m/sd_crc.hpp"
#include "simulated_card.hpp"

using namespace packmile::cortex_m;
using packmile::testing::csd_1;
using packmile::testing::csd_2;

namespace {

int last_byte_of(std::initializer_list<std::uint8_t> command) {
  std::uint8_t crc7 = 0;
  for (const std::uint8_t byte : command) crc7 = crc7_next(crc7, byte);
  return crc7 | 1;
}

std::uint64_t sectors_of(const packmile::testing::CardRegister& csd, bool high_capacity) {
  return std::uint64_t{sd_last_sector_of(csd, high_capacity)} + 1;
}

}  // namespace

TEST_CASE("sd checksums: CRC7 of the published commands") {
  // SD Physical Layer Simplified Specification 4.5: CMD0, CMD17, and the answer to
  // the latter.
  CHECK(last_byte_of({0x40, 0, 0, 0, 0}) == 0x95);
  CHECK(last_byte_of({0x51, 0, 0, 0, 0}) == 0x55);
  CHECK(last_byte_of({0x11, 0, 0, 0x09, 0}) == 0x67);
  // CMD8 with 1AA, as every introduction to these cards has it.
  CHECK(last_byte_of({0x48, 0, 0, 0x01, 0xAA}) == 0x87);
  // Catalogue of parametrised CRC algorithms, CRC-7/MMC: check 0x75; from memory.
  std::uint8_t crc7 = 0;
  for (const char c : std::string_view("123456789"))
    crc7 = crc7_next(crc7, static_cast<std::uint8_t>(c));
  CHECK((crc7 >> 1) == 0x75);
}

TEST_CASE("sd checksums: CRC16 of the published block") {
  // SD Physical Layer Simplified Specification 4.5: 512 bytes of 0xFF.
  std::uint16_t crc16 = 0;
  for (int i = 0; i < 512; ++i) crc16 = crc16_next(crc16, 0xFF);
  CHECK(crc16 == 0x7FA1);
  // Catalogue of parametrised CRC algorithms, CRC-16/XMODEM: check 0x31C3; Python's
  // binascii.crc_hqx(b"123456789", 0) gives the same.
  crc16 = 0;
  for (const char c : std::string_view("123456789"))
    crc16 = crc16_next(crc16, static_cast<std::uint8_t>(c));
  CHECK(crc16 == 0x31C3);
}

TEST_CASE("sd capacity: version 1, worked examples") {
  // Simplified Specification, text of C_SIZE, from memory: a card of 32 MB has
  // BLOCK_LEN 512, C_SIZE_MULT 3, C_SIZE 2000: 2001 x 32 blocks.
  CHECK(sectors_of(csd_1(2000, 3, 9), false) == 64'032);
  // The same: the largest with blocks of 1024 is 4096 x 512 x 1024 = 2 GB.
  CHECK(sectors_of(csd_1(4095, 7, 10), false) == (2ull << 30) / 512);
  CHECK(sectors_of(csd_1(4095, 7, 11), false) == (4ull << 30) / 512);
  CHECK(sectors_of(csd_1(0, 0, 9), false) == 4);
}

TEST_CASE("sd capacity: version 2, worked examples") {
  // Simplified Specification, text of C_SIZE of version 2, from memory: (C_SIZE + 1)
  // x 512 KB; SDHC from 0x1010 to 0xFF5F, SDXC up to 2 TB.
  CHECK(sectors_of(csd_2(0x1010), true) == 0x1011ull * 1024);
  CHECK(sectors_of(csd_2(0xFF5F), true) == 0xFF60ull * 1024);
  CHECK(sectors_of(csd_2(0x3B37), true) == 15'523'840);  // 7,948,206,080 bytes
  CHECK(sectors_of(csd_2(0x3FFFFF), true) == (2ull << 40) / 512);
}

TEST_CASE("sd capacity: a register that contradicts the card gives none") {
  CHECK(sd_last_sector_of(csd_2(0x1010), false) == 0);
  CHECK(sd_last_sector_of(csd_1(2000, 3, 9), true) == 0);
  CHECK(sd_last_sector_of(csd_1(2000, 3, 8), false) == 0);
  CHECK(sd_last_sector_of(csd_1(2000, 3, 12), false) == 0);
  auto later = csd_2(0x1010);  // version 3 is for cards above 2 TB
  later[0] = 0x80;
  CHECK(sd_last_sector_of(later, true) == 0);
  CHECK(sd_last_sector_of(later, false) == 0);
}
