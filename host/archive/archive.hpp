// The archive: every good sector ever read, raw, kept for good. With the notes
// it is the truth of the depot; every figure can be made again from it.
//
// Layout    DIR/log-XXXXXXXX/van-XXXXXXXX.sectors: whole 512-byte sectors one
//           behind the other, by log id and van tag, as their headers say.
// Key       (log id, boot id, sequence). Importing the same sectors again, in
//           any order, in part or overlapping, changes nothing.
// Safe      a sector file only grows by whole sectors, synced before the import
//           says so; a file that ends in a part of a sector (power lost in mid
//           write) is cut back when it is next written. One import at a time:
//           a lock in DIR.
// Conflict  the same key with other bytes cannot come from our logger: neither
//           is dropped silently, both are kept and reported. Settings sectors
//           have no sequence of their own: a changed one is kept beside the old.
// Threads   one at a time: the index of a log is made when it is first asked
//           for, and kept.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <span>
#include <vector>

#include "card/sector_source.hpp"
#include "result.hpp"
#include "sector/sector.hpp"

namespace packmile {

struct ArchiveAdded {
  std::uint64_t added = 0;
  std::uint64_t known = 0;
  std::uint64_t conflicts = 0;  // of those added
};

// More (log, van) pairs than this on one card are a forgery.
inline constexpr std::size_t kMostFilesInImport = 256;

class Archive final : public SectorSource {
 public:
  // Makes the directory when it is missing.
  [[nodiscard]] static Result<Archive> open(std::filesystem::path directory);
  Archive(Archive&&) noexcept;
  Archive& operator=(Archive&&) noexcept;
  ~Archive() override;

  // Collects good sectors of one card and writes the new ones at commit().
  // Memory: about 60 bytes a sector of the card's log while it is open, plus
  // one write buffer. An import that is dropped without commit() takes back
  // what it wrote.
  class Import {
   public:
    Import(Import&&) noexcept;
    Import& operator=(Import&&) noexcept;
    ~Import();

    void add(const SectorHeader& header, std::span<const std::uint8_t, kSectorBytes> sector);
    // Once. An error means that nothing was added.
    [[nodiscard]] Result<ArchiveAdded> commit();

   private:
    friend class Archive;
    struct State;
    explicit Import(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
  };
  // The archive must outlive the import.
  [[nodiscard]] Result<Import> begin_import();

  using SectorSource::for_each_sector;
  [[nodiscard]] std::vector<std::uint32_t> log_ids() const override;
  // Good sectors of one log in order of (sequence, boot id); settings sectors
  // first. Called with a view that is valid during the call only.
  [[nodiscard]] Result<Done> for_each_sector(std::uint32_t log_id, SequenceRange range,
                                             const SectorVisit& visit) const override;
  // Is this very sector in the archive (for `card release`)?
  [[nodiscard]] Result<bool> holds(const SectorHeader& header,
                                   std::span<const std::uint8_t, kSectorBytes> sector) const;
  // The same, by the CRC that stands in the sector.
  [[nodiscard]] Result<bool> holds(const SectorHeader& header, std::uint32_t crc) const;
  // Sectors of a log that rotted in the archive: their CRC no longer holds.
  [[nodiscard]] Result<std::uint64_t> damaged_sectors(std::uint32_t log_id) const;

  // Of the archive's own sources.
  struct LogIndex;

 private:
  explicit Archive(std::filesystem::path directory);
  [[nodiscard]] Result<const LogIndex*> index_of(std::uint32_t log_id) const;
  [[nodiscard]] std::filesystem::path log_directory(std::uint32_t log_id) const;
  [[nodiscard]] std::filesystem::path van_file(std::uint32_t log_id, std::uint32_t van_tag) const;
  void forget(std::uint32_t log_id) const;

  std::filesystem::path directory_;
  mutable std::map<std::uint32_t, std::unique_ptr<LogIndex>> indexes_;
};

}  // namespace packmile
