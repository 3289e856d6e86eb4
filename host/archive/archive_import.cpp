// Adding a card's sectors to the archive: all of them, or none.
#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <optional>
#include <string>
#include <system_error>

#include "archive/archive.hpp"
#include "archive/log_index.hpp"
#include "archive/sector_keys.hpp"
#include "card/crc.hpp"

namespace packmile {
namespace {

constexpr std::size_t kBufferBytes = 1u << 20;
constexpr char kLockName[] = ".lock";

// One sector file that this import adds to.
struct Growing {
  std::filesystem::path path;
  FileCloser file;
  bool is_new = false;
  std::uint64_t bytes = 0;   // that count, and written so far
  std::uint16_t number = 0;  // in the index of its log
};

struct Keys {
  SectorKeys samples;
  SectorKeys settings;
  // What the archive's index of the log is made of, and what is new to it.
  std::vector<IndexEntry> fresh;
};

}  // namespace

struct Archive::Import::State {
  Archive* archive = nullptr;
  FileCloser lock;
  std::map<std::pair<std::uint32_t, std::uint32_t>, Growing> files;  // by log id and van tag
  std::map<std::uint32_t, Keys> keys;                                // by log id
  // Sectors wait here for the file that the last one belongs to.
  std::vector<std::uint8_t> buffer;
  Growing* current = nullptr;
  std::pair<std::uint32_t, std::uint32_t> current_id;
  Keys* current_keys = nullptr;
  std::uint32_t current_log = 0;
  ArchiveAdded added;
  std::map<std::string, std::string> lines;  // by name of the text file
  std::optional<Error> error;
  bool undo_stands = false;  // there is an undo file
  bool writing = false;      // it was made, or looked at, for this import
  bool committed = false;

  ~State() {
    if (!committed) take_back();
  }

  // Before the first byte: what an interrupted import left goes, and the undo
  // file stands.
  bool begin_writing() {
    if (writing) return true;
    const auto& directory = archive->directory_;
    Result<Done> done = undo_stands ? cut_back(directory, archive->committed_)
                                    : write_undo(directory, archive->committed_);
    if (!done) {
      error = done.error();
      return false;
    }
    undo_stands = writing = true;
    return true;
  }

  // Where this fails, the undo file stays: nothing counts, and the next import
  // goes on from here.
  void take_back() {
    for (const auto& [log_id, log_keys] : keys) archive->indexes_.erase(log_id);
    files.clear();
    current = nullptr;
    buffer.clear();
    added = {};
    if (!writing) return;
    writing = false;
    if (cut_back(archive->directory_, archive->committed_) && remove_undo(archive->directory_))
      undo_stands = false;
  }

  Keys* keys_of(std::uint32_t log_id) {
    const auto [at, is_new] = keys.try_emplace(log_id);
    if (is_new) {
      auto index = archive->index_of(log_id);
      if (!index) {
        error = index.error();
        return nullptr;
      }
      for (const IndexEntry& e : (*index)->entries)
        (e.settings != 0 ? at->second.settings : at->second.samples)
            .insert(e.boot_id, e.sequence, e.crc);
    }
    return &at->second;
  }

  Growing* file_of(std::uint32_t log_id, std::uint32_t van_tag) {
    const auto found = files.find({log_id, van_tag});
    if (found != files.end()) return &found->second;
    if (files.size() == kMostFilesInImport) {
      error =
          Error{"sectors of more than " + std::to_string(kMostFilesInImport) +
                    " logs and vans on one card",
                archive->directory_.string(), "no logger writes such a card; nothing was taken"};
      return nullptr;
    }
    if (!begin_writing()) return nullptr;
    Growing growing;
    growing.path = archive->van_file(log_id, van_tag);
    const auto folder = growing.path.parent_path();
    if (::mkdir(folder.c_str(), 0777) != 0 && errno != EEXIST) {
      error = archive_error("cannot make the folder", folder, errno);
      return nullptr;
    }
    auto& names = archive->indexes_[log_id]->files;
    const auto name = std::find(names.begin(), names.end(), growing.path);
    growing.number = static_cast<std::uint16_t>(name - names.begin());
    if (name == names.end()) names.push_back(growing.path);
    growing.file = FileCloser(::open(growing.path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666));
    if (!growing.file.is_open()) {
      error = archive_error("cannot write", growing.path, errno);
      return nullptr;
    }
    const auto counts = archive->committed_.find(
        growing.path.lexically_relative(archive->directory_).generic_string());
    growing.is_new = counts == archive->committed_.end();
    // A part of a sector at the end is no sector: it is written over.
    if (!growing.is_new) growing.bytes = counts->second / kSectorBytes * kSectorBytes;
    return &files.emplace(std::pair(log_id, van_tag), std::move(growing)).first->second;
  }

  void flush() {
    if (error || !current || buffer.empty()) return;
    if (!write_fully(current->file.fd(), current->bytes, buffer))
      error = archive_error("cannot write", current->path, errno);
    current->bytes += buffer.size();
    buffer.clear();
  }

  void add(const SectorHeader& header, std::span<const std::uint8_t, kSectorBytes> sector) {
    if (error) return;
    if (!current_keys || current_log != header.log_id) {
      current_keys = keys_of(header.log_id);
      current_log = header.log_id;
      if (!current_keys) return;
    }
    const bool settings = header.kind == SectorKind::settings;
    const KeyOutcome outcome = (settings ? current_keys->settings : current_keys->samples)
                                   .insert(header.boot_id, header.sequence, stored_crc(sector));
    switch (outcome) {
      case KeyOutcome::known:
        ++added.known;
        return;
      case KeyOutcome::conflict:
        if (!settings) ++added.conflicts;
        break;
      case KeyOutcome::added:
        break;
    }
    const std::pair id{header.log_id, header.van_tag};
    if (!current || current_id != id) {
      flush();
      if (error) return;
      current = file_of(header.log_id, header.van_tag);
      current_id = id;
      if (!current) return;
    }
    ++added.added;
    current_keys->fresh.push_back(
        {header.sequence, header.boot_id, stored_crc(sector),
         static_cast<std::uint32_t>((current->bytes + buffer.size()) / kSectorBytes),
         current->number, static_cast<std::uint16_t>(settings)});
    buffer.insert(buffer.end(), sector.begin(), sector.end());
    if (buffer.size() >= kBufferBytes) flush();
  }

  bool write_lines() {
    for (const auto& [name, text] : lines) {
      if (!begin_writing()) return false;
      const auto path = archive->directory_ / name;
      const auto counts = archive->committed_.find(name);
      const std::uint64_t at = counts == archive->committed_.end() ? 0 : counts->second;
      const FileCloser file(::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666));
      if (!file.is_open() ||
          !write_fully(file.fd(), at,
                       {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}) ||
          ::fdatasync(file.fd()) != 0) {
        error = archive_error("cannot write", path, errno);
        return false;
      }
    }
    return true;
  }

  bool sync_all() {
    for (auto& [id, growing] : files) {
      if (::fdatasync(growing.file.fd()) != 0) {
        error = archive_error("cannot write", growing.path, errno);
        return false;
      }
      if (!growing.is_new) continue;
      if (auto synced = sync_folder(growing.path.parent_path()); !synced) {
        error = synced.error();
        return false;
      }
    }
    // New folders and text files.
    if (auto synced = sync_folder(archive->directory_); !synced) {
      error = synced.error();
      return false;
    }
    return true;
  }

  Result<ArchiveAdded> commit() {
    flush();
    if (!error && write_lines() && writing && sync_all()) {
      if (auto removed = remove_undo(archive->directory_); !removed) error = removed.error();
    } else if (!error && undo_stands) {
      // Nothing to add: what another import left is cleared away all the same.
      auto done = cut_back(archive->directory_, archive->committed_);
      if (done) done = remove_undo(archive->directory_);
      if (!done) error = done.error();
    }
    if (error) {
      take_back();
      return *error;
    }
    committed = true;
    undo_stands = false;
    // Also where nothing was new: an import that was killed right before this
    // may have left the name of its undo file on the disk.
    auto safe = sync_folder(archive->directory_);
    auto seen = archive->take_snapshot();
    // The index need not be read again from what was just written.
    for (auto& [log_id, log_keys] : keys) archive->indexes_[log_id]->add(log_keys.fresh);
    lock = FileCloser();
    if (!seen) return seen.error();
    if (!safe)
      return Error{safe.error().what + "; a power cut may undo what was imported",
                   safe.error().where, "import the same cards again before they are used"};
    return added;
  }
};

Archive::Import::Import(std::unique_ptr<State> state) : state_(std::move(state)) {}
Archive::Import::Import(Import&&) noexcept = default;
Archive::Import& Archive::Import::operator=(Import&&) noexcept = default;
Archive::Import::~Import() = default;

void Archive::Import::add(const SectorHeader& header,
                          std::span<const std::uint8_t, kSectorBytes> sector) {
  state_->add(header, sector);
}

void Archive::Import::add_line(const std::string& name, const std::string& line) {
  state_->lines[name] += line + "\n";
}

Result<ArchiveAdded> Archive::Import::commit() { return state_->commit(); }

Result<Archive::Import> Archive::begin_import() {
  auto state = std::make_unique<Import::State>();
  state->archive = this;
  const auto path = directory_ / kLockName;
  state->lock = FileCloser(::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666));
  // Nothing was written yet, so nothing is to be taken back.
  if (!state->lock.is_open()) return archive_error("cannot write", directory_, errno);
  if (::flock(state->lock.fd(), LOCK_EX | LOCK_NB) != 0) {
    if (errno == EWOULDBLOCK)
      return Error{"another import is writing this archive", directory_.string(),
                   "wait until it is done, then import again"};
    return archive_error("cannot lock", path, errno);
  }
  // Another program may have added to it since the last look.
  indexes_.clear();
  if (auto seen = take_snapshot(); !seen) return seen.error();
  auto undo = read_undo(directory_);
  if (!undo) return undo.error();
  state->undo_stands = undo->has_value();
  state->buffer.reserve(kBufferBytes + kSectorBytes);
  return Import(std::move(state));
}

}  // namespace packmile
