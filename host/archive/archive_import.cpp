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

// New names in a folder are only safe when the folder is.
bool sync_folder(const std::filesystem::path& folder) {
  const FileCloser file(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  return file.is_open() && ::fsync(file.fd()) == 0;
}

// One sector file that this import adds to.
struct Growing {
  std::filesystem::path path;
  FileCloser file;
  bool is_new = false;
  std::uint64_t bytes_before = 0;
  std::uint64_t bytes = 0;   // written so far
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
  std::optional<Error> error;
  bool committed = false;

  ~State() {
    if (!committed) take_back();
  }

  void take_back() {
    for (auto& [id, growing] : files) {
      // A failure leaves whole or part sectors behind, which the next import
      // knows or cuts back: nothing to add to that here.
      if (growing.is_new) {
        (void)::unlink(growing.path.c_str());
        (void)::rmdir(growing.path.parent_path().c_str());
      } else if (growing.bytes != growing.bytes_before) {
        (void)!::ftruncate(growing.file.fd(), static_cast<off_t>(growing.bytes_before));
      }
      archive->forget(id.first);
    }
    files.clear();
    current = nullptr;
    buffer.clear();
    added = {};
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
    Growing growing;
    growing.path = archive->van_file(log_id, van_tag);
    const auto folder = growing.path.parent_path();
    if (::mkdir(folder.c_str(), 0777) != 0 && errno != EEXIST) {
      error = archive_error("cannot make the folder", folder, errno);
      return nullptr;
    }
    struct stat info {};
    auto& names = archive->indexes_[log_id]->files;
    const auto name = std::find(names.begin(), names.end(), growing.path);
    growing.number = static_cast<std::uint16_t>(name - names.begin());
    if (name == names.end()) names.push_back(growing.path);
    growing.is_new = ::stat(growing.path.c_str(), &info) != 0;
    growing.file = FileCloser(::open(growing.path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666));
    if (!growing.file.is_open() || ::fstat(growing.file.fd(), &info) != 0) {
      error = archive_error("cannot write", growing.path, errno);
      return nullptr;
    }
    const auto size = static_cast<std::uint64_t>(info.st_size);
    growing.bytes_before = growing.bytes = size / kSectorBytes * kSectorBytes;
    if (growing.bytes != size &&
        ::ftruncate(growing.file.fd(), static_cast<off_t>(growing.bytes)) != 0) {
      error = archive_error("cannot cut back", growing.path, errno);
      return nullptr;
    }
    return &files.emplace(std::pair(log_id, van_tag), std::move(growing)).first->second;
  }

  void flush() {
    if (error || !current || buffer.empty()) return;
    // Counted before it is written: what a failed write left behind is taken
    // back as well.
    const std::uint64_t at = current->bytes;
    current->bytes += buffer.size();
    if (!write_fully(current->file.fd(), at, buffer))
      error = archive_error("cannot write", current->path, errno);
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

  Result<ArchiveAdded> commit() {
    flush();
    bool new_names = false;
    for (auto& [id, growing] : files) {
      if (error) break;
      if (::fdatasync(growing.file.fd()) != 0)
        error = archive_error("cannot write", growing.path, errno);
      else if (growing.is_new && !sync_folder(growing.path.parent_path()))
        error = archive_error("cannot write", growing.path.parent_path(), errno);
      new_names = new_names || growing.is_new;
    }
    if (!error && new_names && !sync_folder(archive->directory_))
      error = archive_error("cannot write", archive->directory_, errno);
    if (error) {
      take_back();
      return *error;
    }
    committed = true;
    // The index need not be read again from what was just written.
    for (auto& [log_id, log_keys] : keys) archive->indexes_[log_id]->add(log_keys.fresh);
    lock = FileCloser();
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
  state->buffer.reserve(kBufferBytes + kSectorBytes);
  return Import(std::move(state));
}

}  // namespace packmile
