#include "card/crc.hpp"

#include <isa-l/crc.h>

#include <cstring>

namespace packmile {
namespace {

// Every eighth of the sector like the one before it, and the first all 0 or 1.
bool is_blank(const std::uint8_t* p) {
  std::uint64_t first;
  std::memcpy(&first, p, sizeof first);
  if (first != 0 && first != ~std::uint64_t{0}) return false;
  return std::memcmp(p, p + sizeof first, kSectorBytes - sizeof first) == 0;
}

}  // namespace

std::uint32_t fast_crc32c(std::span<const std::uint8_t> bytes) {
  // The routine does not write; its signature forgot to say so. It takes an int
  // for the length, which every piece that we read fits into.
  auto* p = const_cast<unsigned char*>(bytes.data());
  return ~crc32_iscsi(p, static_cast<int>(bytes.size()), ~0u);
}

SectorVerdict judge_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                           SectorHeader& header) {
  if (is_blank(sector.data())) return SectorVerdict::blank;
  return read_sector(sector, fast_crc32c(sector.first<kSectorCrcOffset>()), header);
}

std::uint32_t stored_crc(std::span<const std::uint8_t, kSectorBytes> sector) {
  const std::uint8_t* p = sector.data() + kSectorCrcOffset;
  return static_cast<std::uint32_t>(p[0]) | static_cast<std::uint32_t>(p[1]) << 8 |
         static_cast<std::uint32_t>(p[2]) << 16 | static_cast<std::uint32_t>(p[3]) << 24;
}

bool read_known_sector(std::span<const std::uint8_t, kSectorBytes> sector, SectorHeader& header) {
  return read_sector(sector, stored_crc(sector), header) == SectorVerdict::good;
}

}  // namespace packmile
