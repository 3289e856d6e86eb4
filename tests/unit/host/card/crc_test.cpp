#include "card/crc.hpp"

#include <doctest/doctest.h>

#include <random>
#include <string>
#include <vector>

#include "card/sector_source.hpp"

using namespace packmile;

// Source: the check value of CRC-32C in RFC 3720 (iSCSI), from memory.
TEST_CASE("crc: the check value") {
  const std::string text = "123456789";
  const std::vector<std::uint8_t> bytes(text.begin(), text.end());
  CHECK(fast_crc32c(bytes) == 0xE3069283u);
  CHECK(fast_crc32c({}) == 0);
}

// Against the table routine of proto/sector, which logger and host share.
TEST_CASE("crc: the fast routine equals the table at every length and alignment") {
  std::mt19937 random(1);
  std::vector<std::uint8_t> bytes(1100);
  for (auto& b : bytes) b = static_cast<std::uint8_t>(random());
  for (std::size_t at = 0; at < 16; ++at)
    for (std::size_t length = 0; length < 600; ++length) {
      const auto part = std::span<const std::uint8_t>(bytes).subspan(at, length);
      if (fast_crc32c(part) != crc32c(part)) {
        CAPTURE(at);
        CAPTURE(length);
        FAIL("differs");
      }
    }
}

TEST_CASE("crc: blank, good, damaged and foreign sectors are judged as by proto/sector") {
  SectorBytes sector{};
  SectorHeader header;
  CHECK(judge_sector(sector, header) == SectorVerdict::blank);
  sector.fill(0xFF);
  CHECK(judge_sector(sector, header) == SectorVerdict::blank);
  sector[511] = 0xFE;
  CHECK(judge_sector(sector, header) == SectorVerdict::damaged);
  sector.fill(0x11);
  CHECK(judge_sector(sector, header) == SectorVerdict::damaged);

  SectorHeader written;
  written.log_id = 7;
  written.ring_sectors = 64;
  written.sequence = 65;
  seal_sector(sector, written);
  REQUIRE(judge_sector(sector, header) == SectorVerdict::good);
  CHECK(header == written);
  CHECK(stored_crc(sector) == crc32c(std::span(sector).first<kSectorCrcOffset>()));
  SectorHeader known;
  CHECK(read_known_sector(sector, known));
  CHECK(known == written);

  written.version = kFormatVersion + 1;
  seal_sector(sector, written);
  CHECK(judge_sector(sector, header) == SectorVerdict::newer);
  written.version = kFormatVersion;
  written.ring_sectors = 33;
  seal_sector(sector, written);
  CHECK(judge_sector(sector, header) == SectorVerdict::foreign);
}
