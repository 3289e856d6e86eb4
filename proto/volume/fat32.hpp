// The layout of a FAT32 file system, as far as finding one file needs it.
//
// Standard  Microsoft, "FAT: General Overview of On-Disk Format" 1.03 (field
//           offsets BPB_*, DIR_*; FAT32 entries of 28 bits).
// Pure      no heap, no I/O; all integers little-endian.
#pragma once
#include <cstddef>
#include <cstdint>
#include <span>

#include "sector/sector.hpp"

namespace packmile {

inline constexpr std::uint32_t kFatEntriesPerSector = kSectorBytes / 4;
inline constexpr std::uint32_t kFatEntryMask = 0x0FFFFFFF;
// From here on an entry ends its chain.
inline constexpr std::uint32_t kFatEndOfChain = 0x0FFFFFF8;
inline constexpr std::uint32_t kFirstCluster = 2;
inline constexpr std::size_t kDirectoryEntryBytes = 32;
// "PACKMILE.LOG" as a directory entry has it: 8 + 3, filled up with spaces.
inline constexpr char kLogDirectoryName[] = "PACKMILELOG";

// Places count sectors of 512 bytes from the start of the card.
struct Fat32Volume {
  std::uint64_t first_sector = 0;  // of the boot sector
  std::uint64_t sectors = 0;
  std::uint64_t fat_sector = 0;  // of the copy in use
  std::uint32_t fat_sectors = 0;
  // The other copy of the same contents; 0: there is none.
  std::uint64_t fat_copy_sector = 0;
  std::uint64_t data_sector = 0;  // of cluster 2
  std::uint32_t cluster_sectors = 0;
  std::uint32_t clusters = 0;
  std::uint32_t root_cluster = 0;
  std::uint64_t info_sector = 0;  // FSInfo; 0: there is none

  [[nodiscard]] bool has_cluster(std::uint32_t cluster) const {
    return cluster >= kFirstCluster && cluster - kFirstCluster < clusters;
  }
  [[nodiscard]] std::uint64_t sector_of(std::uint32_t cluster) const {
    return data_sector + std::uint64_t{cluster - kFirstCluster} * cluster_sectors;
  }

  bool operator==(const Fat32Volume&) const = default;
};

enum class BootSectorVerdict : std::uint8_t {
  fat32,
  other,    // a file system, but another: FAT12, FAT16, exFAT, NTFS, sectors that are not 512 bytes
  damaged,  // FAT32 whose figures contradict each other
  not_a_boot_sector
};

// Judges the boot sector found at sector `first_sector` of a card. `volume` is
// set when the verdict is fat32.
[[nodiscard]] BootSectorVerdict read_boot_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                                 std::uint64_t first_sector, Fat32Volume& volume);

[[nodiscard]] std::uint32_t read_u32(std::span<const std::uint8_t> bytes, std::size_t offset);
[[nodiscard]] std::uint16_t read_u16(std::span<const std::uint8_t> bytes, std::size_t offset);

}  // namespace packmile
