#include "archive/committed_files.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <set>
#include <span>
#include <system_error>
#include <vector>

#include "archive/log_index.hpp"

namespace packmile {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view kUndoHead = "packmile archive undo 1\n";
constexpr std::string_view kUndoEnd = "end\n";
constexpr char kNewUndoName[] = "import.undo.new";
constexpr std::string_view kTextSuffix = ".csv";
// 65,536 files of 60 bytes a line are far from it.
constexpr std::size_t kLargestUndoBytes = 16u << 20;
// Sizes are read until two readings agree; an import that is under way changes
// them, and shows by its undo file as well.
constexpr int kMostReadings = 100;

// The files as they lie on the disk.
Result<CommittedSizes> sizes_on_disk(const fs::path& directory) {
  CommittedSizes sizes;
  std::error_code error;
  const auto take_size = [&](const fs::directory_entry& entry, const std::string& name) {
    std::error_code gone;
    if (!entry.is_regular_file(gone)) return;
    const auto bytes = entry.file_size(gone);
    if (!gone) sizes[name] = bytes;
  };
  fs::directory_iterator at(directory, error);
  for (const fs::directory_iterator end; !error && at != end; at.increment(error)) {
    const std::string name = at->path().filename().string();
    if (is_text_file(name)) take_size(*at, name);
    std::error_code gone;
    if (!is_log_folder(name) || !at->is_directory(gone)) continue;
    fs::directory_iterator file(at->path(), gone);
    // A folder that vanishes was made by an import that is being taken back.
    if (gone == std::errc::no_such_file_or_directory) continue;
    for (; !gone && file != end; file.increment(gone))
      if (is_van_file(file->path().filename().string()))
        take_size(*file, name + "/" + file->path().filename().string());
    if (gone) return archive_error("cannot read", at->path(), gone.value());
  }
  if (error && error != std::errc::no_such_file_or_directory)
    return archive_error("cannot read", directory, error.value());
  return sizes;
}

Error bad_undo(const fs::path& path) {
  return {"is no undo file of an import", path.string(),
          "delete it when no import is running; then all sectors that are there count"};
}

Result<CommittedSizes> parse_undo(std::string_view text, const fs::path& path) {
  if (!text.starts_with(kUndoHead) || !text.ends_with(kUndoEnd)) return bad_undo(path);
  text.remove_prefix(kUndoHead.size());
  text.remove_suffix(kUndoEnd.size());
  CommittedSizes sizes;
  while (!text.empty()) {
    const std::size_t line_end = text.find('\n');
    if (line_end == std::string_view::npos) return bad_undo(path);
    const std::string_view line = text.substr(0, line_end);
    text.remove_prefix(line_end + 1);
    std::uint64_t bytes = 0;
    const auto [after, failed] = std::from_chars(line.data(), line.data() + line.size(), bytes);
    const auto used = static_cast<std::size_t>(after - line.data());
    if (failed != std::errc{} || used + 1 >= line.size() || line[used] != ' ')
      return bad_undo(path);
    sizes[std::string(line.substr(used + 1))] = bytes;
  }
  return sizes;
}

}  // namespace

std::optional<std::uint32_t> read_hex_id(std::string_view text) {
  std::uint32_t id = 0;
  if (text.size() != 8) return std::nullopt;
  for (const char c : text)
    if (!((c >= '0' && c <= '9') || (c >= 'A' && c <= 'F'))) return std::nullopt;
  std::from_chars(text.data(), text.data() + text.size(), id, 16);
  return id;
}

std::string hex_id(std::uint32_t id) {
  constexpr std::string_view digits = "0123456789ABCDEF";
  std::string text(8, '0');
  for (std::size_t i = 0; i < 8; ++i) text[7 - i] = digits[id >> (4 * i) & 0xF];
  return text;
}

bool is_log_folder(std::string_view name) {
  return name.starts_with(kLogPrefix) && read_hex_id(name.substr(kLogPrefix.size()));
}

bool is_van_file(std::string_view name) {
  return name.starts_with(kVanPrefix) && name.ends_with(kVanSuffix) &&
         name.size() == kVanPrefix.size() + 8 + kVanSuffix.size() &&
         read_hex_id(name.substr(kVanPrefix.size(), 8));
}

bool is_text_file(std::string_view name) {
  return name.ends_with(kTextSuffix) && name.size() > kTextSuffix.size() && name.front() != '.';
}

Result<std::optional<CommittedSizes>> read_undo(const fs::path& directory) {
  const fs::path path = directory / kUndoFileName;
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) {
    if (errno == ENOENT || errno == ENOTDIR) return std::optional<CommittedSizes>{};
    return archive_error("cannot read", path, errno);
  }
  const FileCloser closer(fd);
  struct stat info {};
  if (::fstat(fd, &info) != 0) return archive_error("cannot read", path, errno);
  const auto bytes = static_cast<std::uint64_t>(std::max<off_t>(info.st_size, 0));
  if (bytes > kLargestUndoBytes) return bad_undo(path);
  std::vector<std::uint8_t> buffer(static_cast<std::size_t>(bytes));
  if (read_fully(fd, 0, buffer) != buffer.size()) {
    if (errno != 0) return archive_error("cannot read", path, errno);
    return bad_undo(path);
  }
  auto sizes = parse_undo({reinterpret_cast<const char*>(buffer.data()), buffer.size()}, path);
  if (!sizes) return sizes.error();
  return std::optional(std::move(*sizes));
}

Result<CommittedSizes> read_committed(const fs::path& directory) {
  std::optional<CommittedSizes> before;
  for (int reading = 0; reading < kMostReadings; ++reading) {
    auto sizes = sizes_on_disk(directory);
    if (!sizes) return sizes.error();
    // No undo file between two equal readings of sizes that only grow: nothing
    // was half written at that moment.
    if (before && *before == *sizes) return std::move(*sizes);
    before = std::move(*sizes);
    auto undo = read_undo(directory);
    if (!undo) return undo.error();
    if (*undo) return std::move(**undo);
  }
  return Error{"changes all the time", directory.string(),
               "wait until other imports are done, then try again"};
}

Result<Done> sync_folder(const fs::path& folder) {
  const FileCloser file(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (!file.is_open() || ::fsync(file.fd()) != 0)
    return archive_error("cannot write", folder, errno);
  return Done{};
}

Result<Done> write_undo(const fs::path& directory, const CommittedSizes& sizes) {
  std::string text{kUndoHead};
  for (const auto& [name, bytes] : sizes) text += std::to_string(bytes) + " " + name + "\n";
  text += kUndoEnd;
  const fs::path fresh = directory / kNewUndoName;
  {
    const FileCloser file(::open(fresh.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666));
    const std::span bytes(reinterpret_cast<const std::uint8_t*>(text.data()), text.size());
    if (!file.is_open() || !write_fully(file.fd(), 0, bytes) || ::fsync(file.fd()) != 0)
      return archive_error("cannot write", fresh, errno);
  }
  if (::rename(fresh.c_str(), (directory / kUndoFileName).c_str()) != 0)
    return archive_error("cannot write", directory / kUndoFileName, errno);
  return sync_folder(directory);
}

Result<Done> cut_back(const fs::path& directory, const CommittedSizes& sizes) {
  auto now = sizes_on_disk(directory);
  if (!now) return now.error();
  std::set<fs::path> changed_folders{directory};
  for (const auto& [name, bytes] : *now) {
    const fs::path path = directory / name;
    const auto counts = sizes.find(name);
    if (counts == sizes.end()) {
      if (::unlink(path.c_str()) != 0) return archive_error("cannot take back", path, errno);
      changed_folders.insert(path.parent_path());
    } else if (bytes > counts->second) {
      const FileCloser file(::open(path.c_str(), O_WRONLY | O_CLOEXEC));
      if (!file.is_open() || ::ftruncate(file.fd(), static_cast<off_t>(counts->second)) != 0 ||
          ::fsync(file.fd()) != 0)
        return archive_error("cannot take back", path, errno);
    }
  }
  for (const fs::path& folder : changed_folders) {
    // A folder that was made for nothing goes; one with anything in it stays.
    if (folder != directory && ::rmdir(folder.c_str()) == 0) continue;
    if (auto synced = sync_folder(folder); !synced) return synced.error();
  }
  return Done{};
}

Result<Done> remove_undo(const fs::path& directory) {
  const fs::path path = directory / kUndoFileName;
  if (::unlink(path.c_str()) != 0 && errno != ENOENT)
    return archive_error("cannot write", path, errno);
  return Done{};
}

}  // namespace packmile
