// Finds where the log file lies on a card: boot sector or partition table, root
// directory, FAT chain. The file must be in one piece, for the logger writes
// inside it by sector number and never looks at the file system again.
//
// Standard  fat32.hpp; partition table of 4 entries at offset 446 of sector 0
//           (16 bytes each: type at 4, first sector at 8, count at 12).
// Method    the first partition that holds FAT32 is taken; a card without a
//           partition table is one file system from sector 0 on. A FAT sector
//           that cannot be read is looked up in the second copy.
// Pure      asks for one sector at a time; keeps none of them; no heap, no I/O.
// Bounded   reads: 5, the root directory (2 MiB of entries at most, and one FAT
//           sector a cluster of it), and one FAT sector for each 128 clusters of
//           the log.
//
//   state       what was read                    next
//   start       FAT32 boot sector                directory
//   start       partition table                  partition
//   start       anything else                    done: no_file_system, other, bad
//   partition   FAT32 boot sector                directory
//   partition   anything else                    the next partition; after the last: done
//   directory   the log's entry                  chain; empty: done
//   directory   end mark                         done: no_log_file
//   directory   cluster read to its end          root_chain
//   root_chain  the next cluster                 directory; end of chain: done: no_log_file
//   chain       next cluster is not the next     done: fragmented
//   chain       the file's last cluster          done: found
//   any         cannot be read                   the second FAT copy; else done: unreadable
#pragma once
#include <cstdint>
#include <optional>
#include <span>

#include "sector/sector.hpp"
#include "volume/fat32.hpp"

namespace packmile {

enum class ExtentOutcome : std::uint8_t {
  searching,
  found,
  unreadable,         // the card does not give a sector that is needed
  no_file_system,     // sector 0 is neither a boot sector nor a partition table
  other_file_system,  // exFAT, NTFS, FAT16 ...: the card must be FAT32
  bad_file_system,    // FAT32, but its figures or chains contradict each other
  no_log_file,        // no PACKMILE.LOG in the root directory
  too_small,          // the file has no room for a head and 32 sectors
  fragmented,         // the file is not in one piece
  beyond_card         // the file reaches beyond the card's end
};

// Sectors of 512 bytes from the start of the card.
struct LogExtent {
  std::uint32_t first_sector = 0;
  std::uint32_t sectors = 0;

  bool operator==(const LogExtent&) const = default;
};

class LogExtentSearch {
 public:
  LogExtentSearch() = default;
  // Cards of more than 2 TiB are looked at up to there.
  explicit LogExtentSearch(std::uint64_t card_sectors);

  // Sector of the card to read next; none: finished.
  [[nodiscard]] std::optional<std::uint32_t> wanted() const;
  // What stands at wanted(). Not asked for: changes nothing.
  void on_sector(std::span<const std::uint8_t, kSectorBytes> sector);
  // wanted() cannot be read, tries included.
  void on_unreadable();

  [[nodiscard]] ExtentOutcome outcome() const { return outcome_; }
  [[nodiscard]] bool finished() const { return outcome_ != ExtentOutcome::searching; }
  // Where the log is. Valid when found.
  [[nodiscard]] const LogExtent& extent() const { return extent_; }
  // The file system it is in. Valid when found, fragmented, too_small or
  // no_log_file.
  [[nodiscard]] const Fat32Volume& volume() const { return volume_; }
  [[nodiscard]] std::uint32_t reads() const { return reads_; }

 private:
  enum class State : std::uint8_t { start, partition, directory, root_chain, chain };

  void finish(ExtentOutcome outcome) { outcome_ = outcome; }
  void want(std::uint64_t sector);
  void want_fat(State state, std::uint32_t cluster);
  void on_start(std::span<const std::uint8_t, kSectorBytes> sector);
  void next_partition();
  void on_directory(std::span<const std::uint8_t, kSectorBytes> sector);
  void on_log_entry(std::span<const std::uint8_t> entry);
  void on_root_chain(std::span<const std::uint8_t, kSectorBytes> sector);
  void on_chain(std::span<const std::uint8_t, kSectorBytes> sector);
  void open_directory();
  [[nodiscard]] std::uint32_t fat_entry(std::span<const std::uint8_t, kSectorBytes> sector,
                                        std::uint32_t cluster) const;

  std::uint64_t card_sectors_ = 0;
  Fat32Volume volume_{};
  LogExtent extent_{};
  std::uint32_t partition_first_[4]{};
  std::uint32_t at_ = 0;       // the sector asked for
  std::uint32_t cluster_ = 0;  // of the directory, or of the log, looked up next
  std::uint32_t last_cluster_ = 0;
  std::uint32_t in_cluster_ = 0;  // sector within a cluster of the directory
  std::uint32_t directory_sectors_ = 0;
  std::uint32_t reads_ = 0;
  std::uint8_t partition_ = 0;
  bool second_copy_ = false;
  bool saw_other_ = false;    // a partition that is not FAT32
  bool saw_damaged_ = false;  // a boot sector that contradicts itself
  State state_ = State::start;
  ExtentOutcome outcome_ = ExtentOutcome::no_file_system;
};

}  // namespace packmile
