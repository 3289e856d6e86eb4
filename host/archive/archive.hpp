// The archive: every good sector ever read, raw, kept for good. With the notes
// it is the truth of the depot; every figure can be made again from it.
//
// Layout    DIR/log-XXXXXXXX/van-XXXXXXXX.sectors: whole 512-byte sectors one
//           behind the other, by log id and van tag, as their headers say.
// Key       (log id, boot id, sequence). Importing the same sectors again, in
//           any order, in part or overlapping, changes nothing.
// Safe      an import is one step (committed_files.hpp): whenever it is killed,
//           the power fails or the disk is full, every reader sees all of it or
//           nothing of it, and the next import clears away what was left behind.
//           One import at a time: a lock in DIR. A command that imports several
//           cards takes one such step for each.
// Snapshot  what is read is the state at open(), or after the last import of
//           this object, whatever other programs do meanwhile.
// Conflict  the same key with other bytes cannot come from our logger: neither
//           is dropped silently, both are kept and reported. Settings sectors
//           have no sequence of their own: a changed one is kept beside the old.
// Text      DIR/NAME.csv: lines that belong to the sectors of an import, and
//           begin to count with them.
// Threads   one at a time: the index of a log is made when it is first asked
//           for, and kept.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "archive/committed_files.hpp"
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
    // A line (without its end) for the archive's own text file `name`.
    void add_line(const std::string& name, const std::string& line);
    // Once. An error means that nothing was added, or, where it says so, that
    // what was added is not safe from a power cut yet; importing again is right
    // in both cases.
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
  // A text file of the archive as far as it counts; empty when there is none.
  [[nodiscard]] Result<std::string> text(const std::string& name) const;
  // What this snapshot is made of. Files only ever grow: two archives with the
  // same sizes under the same names are the same state.
  [[nodiscard]] const CommittedSizes& committed() const { return committed_; }
  // Sectors of a log that rotted in the archive: their CRC no longer holds.
  [[nodiscard]] Result<std::uint64_t> damaged_sectors(std::uint32_t log_id) const;

  // Of the archive's own sources.
  struct LogIndex;

 private:
  Archive(std::filesystem::path directory, CommittedSizes committed);
  [[nodiscard]] Result<const LogIndex*> index_of(std::uint32_t log_id) const;
  [[nodiscard]] std::filesystem::path log_directory(std::uint32_t log_id) const;
  [[nodiscard]] std::filesystem::path van_file(std::uint32_t log_id, std::uint32_t van_tag) const;
  // Looks at the disk again.
  [[nodiscard]] Result<Done> take_snapshot();

  std::filesystem::path directory_;
  CommittedSizes committed_;
  mutable std::map<std::uint32_t, std::unique_ptr<LogIndex>> indexes_;
};

}  // namespace packmile
