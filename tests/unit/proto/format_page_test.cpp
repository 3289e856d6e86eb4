// FORMAT.md's worked sector, rebuilt here and compared with the page byte by
// byte; libprotobuf reads the same record.
#include <array>
#include <cstdio>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "columns/record_encoder.hpp"
#include "packmile.pb.h"
#include "sector/sector.hpp"

#include <doctest/doctest.h>

using namespace packmile;

namespace {

using Sector = std::array<std::uint8_t, kSectorBytes>;

// The drive of the page: three answers of $9A and $0D, one of $5B and $42.
Sector worked_sector() {
  BlockKey fast{.ecu = 0x7E8, .period_ms = 200, .signals = 5};
  fast.signal = {signal::pack_support, signal::pack_state, signal::pack_v, signal::pack_a,
                 signal::speed_kmh};
  BlockKey slow{.ecu = 0x7E8, .period_ms = 5000, .signals = 2};
  slow.signal = {signal::soc_pct, signal::module_v};
  RecordEncoder encoder;
  using Words = std::vector<std::uint32_t>;
  REQUIRE(encoder.add(61000, fast, Words{0x06, 0x00, 0x5780, 0x00FA, 50}));
  REQUIRE(encoder.add(61013, slow, Words{0xC8, 0x36B0}));
  REQUIRE(encoder.add(61200, fast, Words{0x06, 0x00, 0x577E, 0x0104, 51}));
  REQUIRE(encoder.add(61401, fast, Words{0x06, 0x00, 0x5790, 0xFFFB, 51}));
  Sector sector{};
  const std::size_t payload_bytes =
      encoder.finish(std::span(sector).subspan<kSectorHeaderBytes, kSectorPayloadBytes>());
  constexpr std::string_view vin = "1M8GDM9AXKP042788";
  seal_sector(sector, {.kind = SectorKind::data,
                       .payload_bytes = static_cast<std::uint16_t>(payload_bytes),
                       .log_id = 0x20260105,
                       .boot_id = 0x0BADCAFE,
                       .sequence = 33,
                       .ring_sectors = 131040,
                       .van_tag = van_tag_of(vin)});
  return sector;
}

std::string hex_lines(const Sector& sector) {
  std::string text;
  for (std::size_t at = 0; at < kSectorBytes; at += 16) {
    char buffer[8];
    std::snprintf(buffer, sizeof buffer, "%03zX ", at);
    std::string line = buffer;
    bool zero = true;
    for (std::size_t i = at; i < at + 16; ++i) {
      std::snprintf(buffer, sizeof buffer, " %02X", static_cast<unsigned>(sector[i]));
      line += buffer;
      zero = zero && sector[i] == 0;
    }
    if (!zero) text += line + '\n';
  }
  return text;
}

}  // namespace

TEST_CASE("format page: the worked sector is what the encoder writes") {
  std::ifstream page(PACKMILE_FORMAT_PAGE);
  REQUIRE(page.is_open());
  std::stringstream text;
  text << page.rdbuf();
  const std::string expected = hex_lines(worked_sector());
  CAPTURE(expected);
  CHECK(text.str().find("```\n" + expected + "```") != std::string::npos);
}

TEST_CASE("format page: libprotobuf reads the worked sector as the page says") {
  const Sector sector = worked_sector();
  SectorHeader header;
  REQUIRE(read_sector(sector, header) == SectorVerdict::good);
  const auto payload = sector_payload(sector, header);
  Record record;
  REQUIRE(record.ParseFromArray(payload.data(), static_cast<int>(payload.size())));
  CHECK(record.base_ms() == 61000);
  REQUIRE(record.block_size() == 2);
  const Block& fast = record.block(0);
  CHECK(fast.ecu() == 0x7E8);
  CHECK(fast.signal(2) == PACK_V);
  CHECK(std::vector(fast.time().begin(), fast.time().end()) == std::vector<int>{0, 0, 1});
  CHECK(std::vector(fast.r0().begin(), fast.r0().end()) == std::vector<int>{6});
  CHECK(fast.n0().empty());
  CHECK(std::vector(fast.c2().begin(), fast.c2().end()) == std::vector<int>{22400, -2, 18});
  CHECK(std::vector(fast.c3().begin(), fast.c3().end()) == std::vector<int>{250, 10, -265});
  CHECK(std::vector(fast.c4().begin(), fast.c4().end()) == std::vector<int>{50, 1, 0});
  CHECK(record.block(1).c1(0) == 14000);
}
