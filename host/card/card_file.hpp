// Opens what people call a card: a mounted folder with the log in it, a log
// file, an image of a whole card, or a block device. Which one is found out by
// looking.
//
// Image     of a whole FAT32 card, file or device, the log file alone is looked
//           at, and addresses count from its first sector. Where no log file in
//           one piece can be found, the whole is looked at.
// Output    its bytes in pieces of 1 MiB, holes of sparse files told apart.
// Errors    no such path, a folder without a log, an empty file, not readable,
//           neither file nor device. What cannot be read later on is reported
//           with its address and skipped.
// Bounded   one piece in memory; never mapped: a card that is pulled out in
//           mid-read must be an error, not a signal.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <span>
#include <string>

#include "card/sector_source.hpp"
#include "result.hpp"
#include "sector/sector.hpp"
#include "volume/log_extent.hpp"

namespace packmile {

enum class CardKind : std::uint8_t {
  folder,
  file,    // a log, or bytes in which no log file was found
  device,  // the same
  image    // the log file inside a whole card: of a file or of a device
};

// Sectors that the card would not give.
struct UnreadableRun {
  std::uint64_t first_sector = 0;
  std::uint64_t sectors = 0;
  std::string why;  // the system's words
};

class CardFile {
 public:
  [[nodiscard]] static Result<CardFile> open(const std::filesystem::path& card);
  // The same, but of an image or a device every sector, whatever file it is in:
  // for whoever must not miss one that is left from earlier.
  [[nodiscard]] static Result<CardFile> open_whole(const std::filesystem::path& card);
  CardFile(CardFile&& other) noexcept;
  CardFile& operator=(CardFile&& other) noexcept;
  ~CardFile();

  // As given by the user, for messages and rows.
  [[nodiscard]] const std::string& name() const { return name_; }
  // The file or device that is read: in a folder, the log.
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  [[nodiscard]] CardKind kind() const { return kind_; }
  // Of the file or device, where sector 0 of this card is; 0 but in an image.
  [[nodiscard]] std::uint64_t first_sector() const { return first_sector_; }
  // Whole sectors; at most 2^32 - 1 of them (2 TiB) are looked at.
  [[nodiscard]] std::uint64_t sectors() const { return sectors_; }
  // Bytes behind the last whole sector: 0 unless the copy was cut off.
  [[nodiscard]] std::uint32_t part_sector_bytes() const { return part_sector_bytes_; }

  struct PieceVisitor {
    // Whole sectors from `first_sector` on, at most 1 MiB.
    std::function<void(std::uint64_t first_sector, std::span<const std::uint8_t>)> bytes;
    // A hole of a sparse file: blank without being read.
    std::function<void(std::uint64_t first_sector, std::uint64_t sectors)> hole;
    std::function<void(const UnreadableRun&)> unreadable;
  };
  // The whole card, front to back.
  void for_each_piece(const PieceVisitor& visitor) const;

  // Bytes from a sector on, as many as could be read; always whole sectors.
  // Less than asked for: the end of the card, or it could not be read.
  [[nodiscard]] std::size_t read(std::uint64_t first_sector, std::span<std::uint8_t> out) const;
  // Is there anything but 00 or FF behind the last whole sector?
  [[nodiscard]] bool part_sector_is_written() const;

 private:
  CardFile() = default;
  enum class Scope : std::uint8_t { log, whole };
  [[nodiscard]] static Result<CardFile> open(const std::filesystem::path& card, Scope scope);
  void read_in_small_steps(std::uint64_t first_sector, std::span<std::uint8_t> piece,
                           const PieceVisitor& visitor) const;

  int fd_ = -1;
  std::string name_;
  std::filesystem::path path_;
  CardKind kind_ = CardKind::file;
  bool has_holes_ = true;           // the system can be asked for holes
  std::uint64_t first_sector_ = 0;  // of the log, in an image
  std::uint64_t sectors_ = 0;
  std::uint32_t part_sector_bytes_ = 0;
};

// Looks for the log file on a whole card that is open for reading.
[[nodiscard]] LogExtentSearch search_log_extent(int fd, std::uint64_t card_sectors);

}  // namespace packmile
