#include "sector/sector.hpp"

#include <array>

namespace packmile {
namespace {

// By half bytes: a table of whole ones would be a fortieth of the logger's flash.
// `bits`: how far the half byte still has to go.
constexpr std::array<std::uint32_t, 16> make_crc_table(int bits) {
  std::array<std::uint32_t, 16> table{};
  for (std::uint32_t i = 0; i < 16; ++i) {
    std::uint32_t c = i;
    for (int bit = 0; bit < bits; ++bit) c = c >> 1 ^ ((c & 1) ? 0x82F63B78u : 0u);
    table[i] = c;
  }
  return table;
}
constexpr std::array<std::uint32_t, 16> kCrcHigh = make_crc_table(4);
constexpr std::array<std::uint32_t, 16> kCrcLow = make_crc_table(8);

// The two look-ups of a byte do not wait for each other.
std::uint32_t crc_step(std::uint32_t c, std::uint8_t byte) {
  c ^= byte;
  return c >> 8 ^ kCrcLow[c & 0xF] ^ kCrcHigh[c >> 4 & 0xF];
}

std::uint32_t get32(const std::uint8_t* p) {
  return static_cast<std::uint32_t>(p[0]) | static_cast<std::uint32_t>(p[1]) << 8 |
         static_cast<std::uint32_t>(p[2]) << 16 | static_cast<std::uint32_t>(p[3]) << 24;
}

void put32(std::uint8_t* p, std::uint32_t value) {
  for (int i = 0; i < 4; ++i) p[i] = static_cast<std::uint8_t>(value >> (8 * i));
}

bool all_equal(std::span<const std::uint8_t> bytes, std::uint8_t value) {
  for (const std::uint8_t b : bytes)
    if (b != value) return false;
  return true;
}

}  // namespace

std::uint32_t crc32c(std::span<const std::uint8_t> bytes) {
  std::uint32_t c = 0xFFFFFFFFu;
  for (const std::uint8_t b : bytes) c = crc_step(c, b);
  return ~c;
}

SectorVerdict read_sector(std::span<const std::uint8_t, kSectorBytes> sector, std::uint32_t crc,
                          SectorHeader& header) {
  const std::uint8_t* p = sector.data();
  if (crc != get32(p + kSectorCrcOffset)) {
    const bool blank = (p[0] == 0x00 || p[0] == 0xFF) && all_equal(sector, p[0]);
    return blank ? SectorVerdict::blank : SectorVerdict::damaged;
  }
  if (get32(p) != kSectorMagic) return SectorVerdict::foreign;
  if (p[4] > kFormatVersion) return SectorVerdict::newer;
  const std::uint16_t payload_bytes = static_cast<std::uint16_t>(p[6] | p[7] << 8);
  const std::uint32_t ring = get32(p + 20);
  if (p[4] == 0 || p[5] < 1 || p[5] > 3 || payload_bytes > kSectorPayloadBytes || ring == 0 ||
      ring % kBootAlignSectors != 0)
    return SectorVerdict::foreign;
  header = {.version = p[4],
            .kind = static_cast<SectorKind>(p[5]),
            .payload_bytes = payload_bytes,
            .log_id = get32(p + 8),
            .boot_id = get32(p + 12),
            .sequence = get32(p + 16),
            .ring_sectors = ring,
            .van_tag = get32(p + 24)};
  return SectorVerdict::good;
}

SectorVerdict read_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                          SectorHeader& header) {
  return read_sector(sector, crc32c(sector.first<kSectorCrcOffset>()), header);
}

void seal_sector(std::span<std::uint8_t, kSectorBytes> sector, const SectorHeader& header) {
  std::uint8_t* p = sector.data();
  put32(p, kSectorMagic);
  p[4] = header.version;
  p[5] = static_cast<std::uint8_t>(header.kind);
  p[6] = static_cast<std::uint8_t>(header.payload_bytes);
  p[7] = static_cast<std::uint8_t>(header.payload_bytes >> 8);
  put32(p + 8, header.log_id);
  put32(p + 12, header.boot_id);
  put32(p + 16, header.sequence);
  put32(p + 20, header.ring_sectors);
  put32(p + 24, header.van_tag);
  for (std::size_t i = kSectorHeaderBytes + header.payload_bytes; i < kSectorCrcOffset; ++i)
    p[i] = 0;
  put32(p + kSectorCrcOffset, crc32c(sector.first<kSectorCrcOffset>()));
}

std::uint32_t van_tag_of(std::span<const char> vin) {
  if (vin.empty()) return 0;
  std::uint32_t c = 0xFFFFFFFFu;
  for (const char ch : vin) c = crc_step(c, static_cast<std::uint8_t>(ch));
  c = ~c;
  return c == 0 ? 1 : c;
}

}  // namespace packmile
