#include "volume/fat32.hpp"

#include <algorithm>
#include <string_view>

namespace packmile {
namespace {

bool has_text(std::span<const std::uint8_t> bytes, std::size_t offset, std::string_view text) {
  return std::equal(text.begin(), text.end(), bytes.begin() + static_cast<std::ptrdiff_t>(offset),
                    [](char a, std::uint8_t b) { return static_cast<std::uint8_t>(a) == b; });
}

bool is_power_of_two(std::uint32_t n) { return n != 0 && (n & (n - 1)) == 0; }

}  // namespace

std::uint16_t read_u16(std::span<const std::uint8_t> bytes, std::size_t offset) {
  return static_cast<std::uint16_t>(bytes[offset] | bytes[offset + 1] << 8);
}

std::uint32_t read_u32(std::span<const std::uint8_t> bytes, std::size_t offset) {
  return static_cast<std::uint32_t>(read_u16(bytes, offset)) |
         static_cast<std::uint32_t>(read_u16(bytes, offset + 2)) << 16;
}

BootSectorVerdict read_boot_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                   std::uint64_t first_sector, Fat32Volume& volume) {
  using enum BootSectorVerdict;
  if (sector[510] != 0x55 || sector[511] != 0xAA) return not_a_boot_sector;
  if (sector[0] != 0xEB && sector[0] != 0xE9) return not_a_boot_sector;
  if (has_text(sector, 3, "EXFAT   ") || has_text(sector, 3, "NTFS    ")) return other;
  const std::uint16_t sector_bytes = read_u16(sector, 11);
  if (!is_power_of_two(sector_bytes) || sector_bytes < 512 || sector_bytes > 4096)
    return not_a_boot_sector;
  const std::uint32_t cluster_sectors = sector[13];
  const std::uint32_t reserved = read_u16(sector, 14);
  const std::uint32_t copies = sector[16];
  if (!is_power_of_two(cluster_sectors) || reserved == 0 || copies == 0) return not_a_boot_sector;
  // BPB_FATSz16 and BPB_RootEntCnt are 0 on FAT32 and on nothing else. The count
  // of clusters, the other rule of the standard, would refuse small cards that
  // every system takes for FAT32.
  const std::uint32_t fat_sectors = read_u32(sector, 36);
  if (read_u16(sector, 22) != 0 || read_u16(sector, 17) != 0 || sector_bytes != kSectorBytes)
    return other;
  const std::uint64_t total = read_u32(sector, 32);
  const std::uint64_t before_data = reserved + std::uint64_t{copies} * fat_sectors;
  if (fat_sectors == 0 || total <= before_data) return damaged;
  // `total` has 32 bits, and so has what is left of it.
  const std::uint64_t clusters = static_cast<std::uint32_t>(total - before_data) / cluster_sectors;
  if (clusters == 0 || clusters + kFirstCluster > std::uint64_t{fat_sectors} * kFatEntriesPerSector)
    return damaged;

  // BPB_ExtFlags: bit 7 set, one copy alone is kept, its number in bits 0 to 3.
  const std::uint16_t flags = read_u16(sector, 40);
  const bool mirrored = (flags & 0x80) == 0;
  const std::uint32_t active = mirrored ? 0 : flags & 0x0Fu;
  if (active >= copies) return damaged;
  Fat32Volume read;
  read.first_sector = first_sector;
  read.sectors = total;
  read.fat_sectors = fat_sectors;
  read.fat_sector = first_sector + reserved + std::uint64_t{active} * fat_sectors;
  if (mirrored && copies > 1) read.fat_copy_sector = read.fat_sector + fat_sectors;
  read.data_sector = first_sector + before_data;
  read.cluster_sectors = cluster_sectors;
  read.clusters = static_cast<std::uint32_t>(clusters);
  read.root_cluster = read_u32(sector, 44) & kFatEntryMask;
  const std::uint32_t info = read_u16(sector, 48);
  if (info != 0 && info < reserved) read.info_sector = first_sector + info;
  if (!read.has_cluster(read.root_cluster)) return damaged;
  volume = read;
  return fat32;
}

}  // namespace packmile
