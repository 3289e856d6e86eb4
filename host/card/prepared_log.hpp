// Makes a card that a logger can use: a FAT32 file system with the log file in
// one piece, its ring blank, its settings in sector 0.
//
// Standard  FORMAT.md for the log; volume/fat32.hpp for the file system, which
//           mkfs.vfat makes and to which this adds one file.
// Place     the log begins on a multiple of 4 MiB, right behind the root
//           directory: 4 MiB is where it lies on all but large cards, whose
//           allocation tables are longer than that.
// Order     allocation table, FSInfo, directory entry, blank ring; the settings
//           last. Cut off anywhere, the card has no settings and can be prepared
//           again.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "card/owners_definition.hpp"
#include "card/sector_source.hpp"
#include "figure.hpp"
#include "result.hpp"
#include "volume/fat32.hpp"
#include "volume/log_extent.hpp"

namespace packmile {

inline constexpr std::uint64_t kSectorsPerMib = (1u << 20) / kSectorBytes;
// A file on FAT32 is shorter than 4 GiB.
inline constexpr std::uint32_t kMinLogMib = 1;
inline constexpr std::uint32_t kMaxLogMib = 4095;
// Six months at 80 MB each.
inline constexpr std::uint32_t kUsualLogMib = 512;

// What a settings sector says. `van`: 1 to kMaxVanNameBytes bytes of UTF-8.
struct LogIdentity {
  std::uint32_t log_id = 0;
  std::string van;
  UtcTime prepared;
  bool lithium_battery = false;  // the van's 12 V battery; false: lead
  // Whose identifiers the logger may read, in the order of their ids.
  std::vector<OwnersDefinition> owners_signals;
};

// Drawn at random; never 0.
[[nodiscard]] std::uint32_t draw_log_id();
// Sector 0 of a log of `log_sectors` sectors. An error: the log is too small, the
// name is too long, or the owner's signals are too many or take too much room.
[[nodiscard]] Result<SectorBytes> make_settings_sector(const LogIdentity& identity,
                                                       std::uint64_t log_sectors);

// Where things go on a card that is made anew. All in sectors.
struct NewCardLayout {
  std::uint64_t card_sectors = 0;
  std::uint32_t cluster_sectors = 0;
  std::uint32_t reserved_sectors = 0;  // in front of the first allocation table
  std::uint32_t fat_sectors = 0;       // of one of the two tables
  std::uint64_t log_first_sector = 0;
  std::uint64_t log_sectors = 0;

  bool operator==(const NewCardLayout&) const = default;
};
// An error: the card is too small, for FAT32 or for the log.
[[nodiscard]] Result<NewCardLayout> plan_card(std::uint64_t card_sectors,
                                              std::uint64_t log_sectors);
// How large an image must be for a log of so many sectors.
[[nodiscard]] std::uint64_t image_sectors_for(std::uint64_t log_sectors);
// The longest log, in MiB, that a card of this size has room for; 0: none.
[[nodiscard]] std::uint32_t longest_log_mib(std::uint64_t card_sectors);

// Runs mkfs.vfat on an image or a device, and again with other figures if its
// data area does not begin where the layout wants it. Everything in the file
// system is gone afterwards. An error has the program's own words.
[[nodiscard]] Result<Fat32Volume> make_file_system(const std::filesystem::path& card,
                                                   const NewCardLayout& layout);

// Writes the log file into a fresh file system: its clusters must be free.
// `first_sector` must be the first of a cluster.
[[nodiscard]] Result<Done> add_log_file(int fd, const Fat32Volume& volume,
                                        std::uint64_t first_sector, std::uint64_t log_sectors,
                                        UtcTime now);

using WriteProgress = std::function<void(std::uint64_t sectors_done, std::uint64_t sectors_total)>;
// Zeros; `where` is named in an error.
[[nodiscard]] Result<Done> blank_sectors(int fd, std::uint64_t first_sector, std::uint64_t sectors,
                                         const std::string& where,
                                         const WriteProgress& progress = {});
// The settings into the first sector of a log whose ring is blank, with all that
// was written before them safe on the card first.
[[nodiscard]] Result<Done> write_settings(int fd, std::uint64_t first_sector,
                                          const SectorBytes& settings, const std::string& where);

// Reads a card back: the log is found where it should be, its settings say what
// they should, and there is not one other sector in it.
[[nodiscard]] Result<Done> verify_prepared(const std::filesystem::path& card,
                                           const LogIdentity& identity,
                                           const WriteProgress& progress = {});

// Whether a file on a mounted card is in one piece.
enum class PieceVerdict : std::uint8_t {
  one,
  several,
  not_seen  // the system does not show it to this account
};
[[nodiscard]] PieceVerdict look_at_pieces(int fd, std::uint64_t bytes);

}  // namespace packmile
