#include "volume/log_extent.hpp"

#include <algorithm>

namespace packmile {
namespace {

// 65536 entries, the most that a directory may have.
constexpr std::uint32_t kMaxDirectorySectors = 65'536 * kDirectoryEntryBytes / kSectorBytes;
constexpr std::size_t kPartitionTable = 446;
constexpr std::size_t kPartitionEntryBytes = 16;
constexpr std::uint8_t kAttributeVolume = 0x08;
constexpr std::uint8_t kAttributeDirectory = 0x10;
constexpr std::uint8_t kEntryFree = 0xE5;

bool is_log_name(std::span<const std::uint8_t> entry) {
  for (std::size_t i = 0; i < 11; ++i)
    if (entry[i] != static_cast<std::uint8_t>(kLogDirectoryName[i])) return false;
  return true;
}

}  // namespace

LogExtentSearch::LogExtentSearch(std::uint64_t card_sectors)
    : card_sectors_(std::min<std::uint64_t>(card_sectors, 0xFFFFFFFFu)) {
  if (card_sectors_ != 0) outcome_ = ExtentOutcome::searching;
}

std::optional<std::uint32_t> LogExtentSearch::wanted() const {
  if (finished()) return std::nullopt;
  return at_;
}

void LogExtentSearch::want(std::uint64_t sector) {
  if (sector >= card_sectors_) {
    finish(ExtentOutcome::beyond_card);
    return;
  }
  at_ = static_cast<std::uint32_t>(sector);
}

void LogExtentSearch::want_fat(State state, std::uint32_t cluster) {
  state_ = state;
  second_copy_ = false;
  cluster_ = cluster;
  want(volume_.fat_sector + cluster / kFatEntriesPerSector);
}

std::uint32_t LogExtentSearch::fat_entry(std::span<const std::uint8_t, kSectorBytes> sector,
                                         std::uint32_t cluster) const {
  return read_u32(sector, std::size_t{cluster % kFatEntriesPerSector} * 4) & kFatEntryMask;
}

void LogExtentSearch::on_sector(std::span<const std::uint8_t, kSectorBytes> sector) {
  if (finished()) return;
  ++reads_;
  switch (state_) {
    case State::start:
      on_start(sector);
      break;
    case State::partition:
      switch (read_boot_sector(sector, partition_first_[partition_], volume_)) {
        case BootSectorVerdict::fat32:
          open_directory();
          return;
        case BootSectorVerdict::damaged:
          saw_damaged_ = true;
          break;
        case BootSectorVerdict::other:
        case BootSectorVerdict::not_a_boot_sector:
          saw_other_ = true;
          break;
      }
      ++partition_;
      next_partition();
      break;
    case State::directory:
      on_directory(sector);
      break;
    case State::root_chain:
      on_root_chain(sector);
      break;
    case State::chain:
      on_chain(sector);
      break;
  }
}

void LogExtentSearch::on_unreadable() {
  if (finished()) return;
  ++reads_;
  const bool in_fat = state_ == State::root_chain || state_ == State::chain;
  if (in_fat && !second_copy_ && volume_.fat_copy_sector != 0) {
    second_copy_ = true;
    want(volume_.fat_copy_sector + cluster_ / kFatEntriesPerSector);
    return;
  }
  finish(ExtentOutcome::unreadable);
}

void LogExtentSearch::on_start(std::span<const std::uint8_t, kSectorBytes> sector) {
  switch (read_boot_sector(sector, 0, volume_)) {
    case BootSectorVerdict::fat32:
      open_directory();
      return;
    case BootSectorVerdict::other:
      finish(ExtentOutcome::other_file_system);
      return;
    case BootSectorVerdict::damaged:
      finish(ExtentOutcome::bad_file_system);
      return;
    case BootSectorVerdict::not_a_boot_sector:
      break;
  }
  if (sector[510] != 0x55 || sector[511] != 0xAA) {
    finish(ExtentOutcome::no_file_system);
    return;
  }
  bool any = false;
  for (std::size_t i = 0; i < 4; ++i) {
    const auto entry =
        sector.subspan(kPartitionTable + i * kPartitionEntryBytes, kPartitionEntryBytes);
    // Only 00 and 80 stand before an entry; anything else is no table.
    if ((entry[0] & 0x7F) != 0) {
      finish(ExtentOutcome::no_file_system);
      return;
    }
    // The type is not asked: what counts is the boot sector that stands there.
    if (entry[4] != 0 && read_u32(entry, 12) != 0) {
      partition_first_[i] = read_u32(entry, 8);
      any = any || partition_first_[i] != 0;
    }
  }
  if (!any) {
    finish(ExtentOutcome::no_file_system);
    return;
  }
  state_ = State::partition;
  next_partition();
}

void LogExtentSearch::next_partition() {
  // One that begins beyond the card is a table of another card.
  while (partition_ < 4 &&
         (partition_first_[partition_] == 0 || partition_first_[partition_] >= card_sectors_))
    ++partition_;
  if (partition_ < 4) {
    want(partition_first_[partition_]);
  } else if (saw_damaged_) {
    finish(ExtentOutcome::bad_file_system);
  } else {
    finish(saw_other_ ? ExtentOutcome::other_file_system : ExtentOutcome::beyond_card);
  }
}

void LogExtentSearch::open_directory() {
  state_ = State::directory;
  cluster_ = volume_.root_cluster;
  in_cluster_ = 0;
  want(volume_.sector_of(cluster_));
}

void LogExtentSearch::on_directory(std::span<const std::uint8_t, kSectorBytes> sector) {
  for (std::size_t at = 0; at < kSectorBytes; at += kDirectoryEntryBytes) {
    const auto entry = sector.subspan(at, kDirectoryEntryBytes);
    if (entry[0] == 0) {
      finish(ExtentOutcome::no_log_file);
      return;
    }
    // Parts of long names carry the volume attribute too.
    if (entry[0] == kEntryFree || (entry[11] & (kAttributeVolume | kAttributeDirectory)) != 0)
      continue;
    if (is_log_name(entry)) {
      on_log_entry(entry);
      return;
    }
  }
  if (++directory_sectors_ >= kMaxDirectorySectors) {
    finish(ExtentOutcome::bad_file_system);
  } else if (++in_cluster_ < volume_.cluster_sectors) {
    want(volume_.sector_of(cluster_) + in_cluster_);
  } else {
    want_fat(State::root_chain, cluster_);
  }
}

void LogExtentSearch::on_root_chain(std::span<const std::uint8_t, kSectorBytes> sector) {
  const std::uint32_t next = fat_entry(sector, cluster_);
  if (next >= kFatEndOfChain) {
    finish(ExtentOutcome::no_log_file);
  } else if (!volume_.has_cluster(next)) {
    finish(ExtentOutcome::bad_file_system);
  } else {
    state_ = State::directory;
    cluster_ = next;
    in_cluster_ = 0;
    want(volume_.sector_of(cluster_));
  }
}

void LogExtentSearch::on_log_entry(std::span<const std::uint8_t> entry) {
  const std::uint32_t bytes = read_u32(entry, 28);
  const std::uint32_t first = static_cast<std::uint32_t>(read_u16(entry, 20)) << 16 |
                              static_cast<std::uint32_t>(read_u16(entry, 26));
  const std::uint32_t sectors = bytes / kSectorBytes;
  if (ring_sectors_of(sectors) == 0) {
    finish(ExtentOutcome::too_small);
    return;
  }
  const std::uint32_t clusters = (sectors + volume_.cluster_sectors - 1) / volume_.cluster_sectors;
  // Before any addition: a forged size must not wrap.
  if (!volume_.has_cluster(first) || clusters > volume_.clusters - (first - kFirstCluster)) {
    // More clusters than stand behind the first cannot be in one piece.
    finish(volume_.has_cluster(first) && clusters <= volume_.clusters
               ? ExtentOutcome::fragmented
               : ExtentOutcome::bad_file_system);
    return;
  }
  const std::uint64_t first_sector = volume_.sector_of(first);
  if (first_sector + sectors > card_sectors_) {
    finish(ExtentOutcome::beyond_card);
    return;
  }
  extent_ = {static_cast<std::uint32_t>(first_sector), sectors};
  last_cluster_ = first + clusters - 1;
  want_fat(State::chain, first);
}

void LogExtentSearch::on_chain(std::span<const std::uint8_t, kSectorBytes> sector) {
  for (;;) {
    const std::uint32_t next = fat_entry(sector, cluster_);
    if (cluster_ == last_cluster_) {
      // What the file owns beyond its size is its own affair.
      finish(next >= kFatEndOfChain || volume_.has_cluster(next) ? ExtentOutcome::found
                                                                 : ExtentOutcome::bad_file_system);
      return;
    }
    if (next != cluster_ + 1) {
      finish(volume_.has_cluster(next) ? ExtentOutcome::fragmented
                                       : ExtentOutcome::bad_file_system);
      return;
    }
    ++cluster_;
    if (cluster_ % kFatEntriesPerSector == 0) break;
  }
  want_fat(State::chain, cluster_);
}

}  // namespace packmile
