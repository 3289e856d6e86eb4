// The 512-byte sector: a header, one protobuf Record, zero fill, a CRC.
//
// Standard  our own; FORMAT.md has the same table with a worked sector in hex.
// Pure      no heap, no I/O; all integers little-endian.
// Rule      a sector is valid if and only if its CRC holds, and no field is
//           looked at before that.
//
//   offset  bytes  field
//        0      4  magic 50 4D 4C 47
//        4      1  format version
//        5      1  kind
//        6      2  payload bytes, 0..480
//        8      4  log id      drawn when the card is prepared
//       12      4  boot id     drawn at power-up
//       16      4  sequence    one count per log, never restarting
//       20      4  ring size   sectors; address in the ring = sequence mod this
//       24      4  van tag     CRC-32C of the VIN; 0: not yet known
//       28    480  payload, then zeros
//      508      4  CRC-32C of bytes 0..507
#pragma once
#include <cstddef>
#include <cstdint>
#include <span>

namespace packmile {

inline constexpr std::size_t kSectorBytes = 512;
inline constexpr std::size_t kSectorHeaderBytes = 28;
inline constexpr std::size_t kSectorPayloadBytes = 480;
inline constexpr std::size_t kSectorCrcOffset = 508;
inline constexpr std::uint32_t kSectorMagic = 0x474C4D50;  // "PMLG"
inline constexpr std::uint8_t kFormatVersion = 1;

// The log: a head of 32 sectors (0 = settings, 1..31 blank), then the ring,
// whose length is a multiple of 32.
inline constexpr std::uint32_t kHeadSectors = 32;
// Each boot starts on a multiple of this: 16 KiB, so that it never programs
// flash next to the page that the last power cut may have damaged.
inline constexpr std::uint32_t kBootAlignSectors = 32;
// A session record is due after this many sectors.
inline constexpr std::uint32_t kSessionEverySectors = 128;
inline constexpr char kLogFileName[] = "PACKMILE.LOG";
// Longest van name in the settings, bytes of UTF-8. Common practice, no source.
inline constexpr std::size_t kMaxVanNameBytes = 40;

enum class SectorKind : std::uint8_t { data = 1, session = 2, settings = 3 };

struct SectorHeader {
  std::uint8_t version = kFormatVersion;
  SectorKind kind = SectorKind::data;
  std::uint16_t payload_bytes = 0;
  std::uint32_t log_id = 0;
  std::uint32_t boot_id = 0;
  std::uint32_t sequence = 0;
  std::uint32_t ring_sectors = 0;
  std::uint32_t van_tag = 0;

  bool operator==(const SectorHeader&) const = default;
};

// CRC-32C (Castagnoli, reflected 82F63B78, init and final xor FFFFFFFF).
// Check value: "123456789" gives E3069283.
[[nodiscard]] std::uint32_t crc32c(std::span<const std::uint8_t> bytes);

enum class SectorVerdict : std::uint8_t {
  good,
  blank,    // all 00 or all FF: never written
  damaged,  // the CRC does not hold; nothing else was looked at
  foreign,  // the CRC holds, but it is not ours, or its fields cannot be
  newer     // ours, of a format version this program does not know
};

// Reads the header of one sector. `header` is set only when the verdict is
// `good`. `crc` is the CRC-32C of bytes 0..507, so that a host can use a
// faster routine than crc32c().
[[nodiscard]] SectorVerdict read_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                        std::uint32_t crc, SectorHeader& header);
[[nodiscard]] SectorVerdict read_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                        SectorHeader& header);

[[nodiscard]] inline std::span<const std::uint8_t> sector_payload(
    std::span<const std::uint8_t, kSectorBytes> sector, const SectorHeader& header) {
  return sector.subspan(kSectorHeaderBytes, header.payload_bytes);
}

// Completes a sector whose payload already stands at offset 28: writes the
// header, zeros behind the payload, and the CRC. payload_bytes must be <= 480.
void seal_sector(std::span<std::uint8_t, kSectorBytes> sector, const SectorHeader& header);

// How many sectors the ring has in a log of `log_sectors` sectors; 0: too
// small for a head and 32 sectors.
[[nodiscard]] constexpr std::uint32_t ring_sectors_of(std::uint64_t log_sectors) {
  if (log_sectors < kHeadSectors + kBootAlignSectors) return 0;
  const std::uint64_t ring = (log_sectors - kHeadSectors) / kBootAlignSectors * kBootAlignSectors;
  return ring > 0xFFFFFFE0u ? 0xFFFFFFE0u : static_cast<std::uint32_t>(ring);
}

// The van tag of a VIN; 0 only for an empty one.
[[nodiscard]] std::uint32_t van_tag_of(std::span<const char> vin);

}  // namespace packmile
