// One sector: the bytes as they are, then with the CRC that makes them valid, so
// that the fuzzer gets behind it.
#include <algorithm>
#include <array>

#include "card/crc.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/plain_record.hpp"
#include "fuzz/targets.hpp"
#include "sector/sector.hpp"

namespace packmile::fuzz {
namespace {

using Sector = std::array<std::uint8_t, kSectorBytes>;

// Bit by bit, from the polynomial.
std::uint32_t plain_crc(std::span<const std::uint8_t> bytes) {
  std::uint32_t crc = 0xFFFFFFFFu;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = crc & 1 ? crc >> 1 ^ 0x82F63B78u : crc >> 1;
  }
  return ~crc;
}

std::uint32_t number_at(const Sector& sector, std::size_t at, std::size_t bytes) {
  std::uint64_t value = 0;
  for (std::size_t i = bytes; i-- > 0;) value = value * 256 + sector[at + i];
  return static_cast<std::uint32_t>(value);
}

// FORMAT.md, "The sector" and "What a reader must survive".
// `crc`: of the first 508 bytes.
SectorVerdict plain_verdict(const Sector& s, std::uint32_t crc) {
  const auto all = [&](std::uint8_t byte) {
    return std::ranges::all_of(s, [byte](std::uint8_t b) { return b == byte; });
  };
  if (all(0x00) || all(0xFF)) return SectorVerdict::blank;
  if (crc != number_at(s, 508, 4)) return SectorVerdict::damaged;
  if (number_at(s, 0, 4) != 0x474C4D50u) return SectorVerdict::foreign;
  if (s[4] != 1) return s[4] > 1 ? SectorVerdict::newer : SectorVerdict::foreign;
  const std::uint32_t ring = number_at(s, 20, 4);
  const bool possible =
      s[5] >= 1 && s[5] <= 3 && number_at(s, 6, 2) <= 480 && ring % 32 == 0 && ring != 0;
  return possible ? SectorVerdict::good : SectorVerdict::foreign;
}

void check(const Sector& sector, std::uint32_t crc) {
  const SectorHeader untouched{.log_id = 0xA5A5A5A5};
  SectorHeader header = untouched;
  SectorHeader on_host = untouched;
  const SectorVerdict verdict = read_sector(sector, crc, header);
  must(verdict == plain_verdict(sector, crc), "the verdict is that of the plain reading");
  must(judge_sector(sector, on_host) == verdict && on_host == header, "logger and host agree");
  must(fast_crc32c(std::span(sector).first(508)) == crc, "the fast CRC is the same");
  if (verdict != SectorVerdict::good) {
    must(header == untouched, "no header but that of a good sector");
    return;
  }
  must(header.payload_bytes == number_at(sector, 6, 2) &&
           header.log_id == number_at(sector, 8, 4) && header.boot_id == number_at(sector, 12, 4) &&
           header.sequence == number_at(sector, 16, 4) &&
           header.ring_sectors == number_at(sector, 20, 4) &&
           header.van_tag == number_at(sector, 24, 4),
       "the header is what stands there");
  const auto payload = sector_payload(sector, header);
  must(payload.data() == sector.data() + 28 && payload.size() == header.payload_bytes,
       "the payload stands behind the header");
  compare_decoders(payload);
  // Sealing the same again gives the same, if zeros stood behind the payload.
  Sector again = sector;
  seal_sector(again, header);
  SectorHeader sealed;
  must(judge_sector(again, sealed) == SectorVerdict::good && sealed == header,
       "what is sealed is good");
  must(std::ranges::equal(sector_payload(again, sealed), payload), "sealing keeps the payload");
}

}  // namespace

void try_sector(Input input) {
  Sector sector{};
  const auto part = input.first(std::min(input.size(), sector.size()));
  std::copy(part.begin(), part.end(), sector.begin());
  const std::uint32_t crc = plain_crc(std::span(sector).first(508));
  must(crc32c(std::span(sector).first(508)) == crc, "the CRC is that of its polynomial");
  check(sector, crc);
  for (std::size_t i = 0; i < 4; ++i) sector[508 + i] = static_cast<std::uint8_t>(crc >> (8 * i));
  check(sector, crc);
}

}  // namespace packmile::fuzz
