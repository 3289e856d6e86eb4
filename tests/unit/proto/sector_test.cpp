#include "sector/sector.hpp"

#include <array>
#include <cstring>
#include <numeric>
#include <random>
#include <string_view>
#include <vector>

#include <doctest/doctest.h>

using namespace packmile;

namespace {

using Sector = std::array<std::uint8_t, kSectorBytes>;

std::uint32_t crc_of(std::string_view text) {
  return crc32c({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
}

SectorHeader some_header(std::uint16_t payload_bytes) {
  return {.kind = SectorKind::data,
          .payload_bytes = payload_bytes,
          .log_id = 0x11223344,
          .boot_id = 0x55667788,
          .sequence = 99,
          .ring_sectors = 64,
          .van_tag = 0xCAFEF00D};
}

Sector sealed(std::uint16_t payload_bytes) {
  Sector sector;
  sector.fill(0xA5);
  seal_sector(sector, some_header(payload_bytes));
  return sector;
}

}  // namespace

// Source: CRC-32/ISCSI in the CRC catalogue of reveng (check value of
// "123456789"); the runs of 32 bytes are the examples of RFC 3720, appendix B.4.
TEST_CASE("crc32c: published check values") {
  CHECK(crc_of("123456789") == 0xE3069283);
  CHECK(crc_of("") == 0);
  std::vector<std::uint8_t> bytes(32, 0x00);
  CHECK(crc32c(bytes) == 0x8A9136AA);
  bytes.assign(32, 0xFF);
  CHECK(crc32c(bytes) == 0x62A8AB43);
  std::iota(bytes.begin(), bytes.end(), std::uint8_t{0});
  CHECK(crc32c(bytes) == 0x46DD794E);
}

TEST_CASE("sector: what was sealed is read back, zeros behind the payload") {
  const Sector sector = sealed(10);
  SectorHeader header;
  REQUIRE(read_sector(sector, header) == SectorVerdict::good);
  CHECK(header == some_header(10));
  CHECK(sector_payload(sector, header).size() == 10);
  CHECK(sector_payload(sector, header)[9] == 0xA5);
  for (std::size_t i = kSectorHeaderBytes + 10; i < kSectorCrcOffset; ++i) CHECK(sector[i] == 0);
}

TEST_CASE("sector: every single flipped bit is noticed") {
  const Sector good = sealed(kSectorPayloadBytes);
  int accepted = 0;
  for (std::size_t bit = 0; bit < kSectorBytes * 8; ++bit) {
    Sector sector = good;
    sector[bit / 8] ^= static_cast<std::uint8_t>(1u << bit % 8);
    SectorHeader header;
    if (read_sector(sector, header) != SectorVerdict::damaged) ++accepted;
  }
  CHECK(accepted == 0);
}

TEST_CASE("sector: blank media are blank, not damaged and not good") {
  Sector sector;
  SectorHeader header;
  for (const std::uint8_t value : {std::uint8_t{0x00}, std::uint8_t{0xFF}}) {
    sector.fill(value);
    CHECK(read_sector(sector, header) == SectorVerdict::blank);
    sector[300] ^= 1;
    CHECK(read_sector(sector, header) == SectorVerdict::damaged);
  }
}

TEST_CASE("sector: a good CRC alone does not make it ours") {
  const auto with = [](void (*change)(Sector&)) {
    Sector sector = sealed(4);
    change(sector);
    const std::uint32_t crc = crc32c(std::span<const std::uint8_t>(sector).first(kSectorCrcOffset));
    for (std::size_t i = 0; i < 4; ++i)
      sector[kSectorCrcOffset + i] = static_cast<std::uint8_t>(crc >> (8 * i));
    SectorHeader header;
    return read_sector(sector, header);
  };
  CHECK(with([](Sector&) {}) == SectorVerdict::good);
  CHECK(with([](Sector& s) { s[0] ^= 1; }) == SectorVerdict::foreign);
  CHECK(with([](Sector& s) { s[4] = 2; }) == SectorVerdict::newer);
  CHECK(with([](Sector& s) { s[4] = 0; }) == SectorVerdict::foreign);
  CHECK(with([](Sector& s) { s[5] = 0; }) == SectorVerdict::foreign);
  CHECK(with([](Sector& s) { s[5] = 4; }) == SectorVerdict::foreign);
  CHECK(with([](Sector& s) { s[6] = 0xE1, s[7] = 1; }) == SectorVerdict::foreign);  // 481
  CHECK(with([](Sector& s) { s[20] = 33; }) == SectorVerdict::foreign);
  CHECK(with([](Sector& s) { s[20] = 0; }) == SectorVerdict::foreign);
}

TEST_CASE("sector: a torn write of any length is noticed unless nothing changed") {
  const Sector older = sealed(100);
  Sector newer = sealed(200);
  int accepted = 0;
  for (std::size_t cut = 1; cut < kSectorBytes; ++cut) {
    Sector torn = older;
    std::memcpy(torn.data(), newer.data(), cut);
    SectorHeader header;
    if (torn != older && torn != newer && read_sector(torn, header) == SectorVerdict::good)
      ++accepted;
  }
  CHECK(accepted == 0);
}

TEST_CASE("sector: ring size of a log") {
  CHECK(ring_sectors_of(0) == 0);
  CHECK(ring_sectors_of(63) == 0);
  CHECK(ring_sectors_of(64) == 32);
  CHECK(ring_sectors_of(95) == 32);
  CHECK(ring_sectors_of(131072) == 131040);
  CHECK(ring_sectors_of(~0ull) % kBootAlignSectors == 0);
}

TEST_CASE("sector: the van tag of a VIN is its CRC-32C, and 0 means unknown") {
  constexpr std::string_view vin = "1M8GDM9AXKP042788";
  CHECK(van_tag_of(vin) == crc_of(vin));
  CHECK(van_tag_of({}) == 0);
}
