#include "archive/archive.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <string>
#include <string_view>
#include <system_error>

#include "archive/log_index.hpp"
#include "card/crc.hpp"

namespace packmile {
namespace {

constexpr std::size_t kScanBytes = 1u << 20;
constexpr std::size_t kWindowSectors = 512;
// Far more than the lines of a thousand cards.
constexpr std::uint64_t kLargestTextBytes = 16u << 20;

// Samples after settings; then sequence, boot, bytes (their CRC stands for
// them), so that the order does not depend on which card came first.
bool index_order(const IndexEntry& a, const IndexEntry& b) {
  if (a.settings != b.settings) return a.settings > b.settings;
  if (a.sequence != b.sequence) return a.sequence < b.sequence;
  if (a.boot_id != b.boot_id) return a.boot_id < b.boot_id;
  return a.crc < b.crc;
}

bool same_sector(const IndexEntry& a, const IndexEntry& b) {
  return a.settings == b.settings && a.sequence == b.sequence && a.boot_id == b.boot_id &&
         a.crc == b.crc;
}

Result<Done> scan_file(const std::filesystem::path& path, std::uint64_t bytes_that_count,
                       std::uint32_t log_id, std::uint16_t file_number, Archive::LogIndex& index) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return archive_error("cannot read", path, errno);
  const FileCloser closer(fd);
  std::vector<std::uint8_t> buffer(kScanBytes);
  std::uint32_t sector_number = 0;
  for (;;) {
    const std::uint64_t at = std::uint64_t{sector_number} * kSectorBytes;
    const std::uint64_t rest = at < bytes_that_count ? bytes_that_count - at : 0;
    const auto wanted = std::span(buffer).first(
        static_cast<std::size_t>(std::min<std::uint64_t>(rest, buffer.size())));
    const std::size_t got = read_fully(fd, at, wanted);
    if (got < wanted.size() && errno != 0) return archive_error("cannot read", path, errno);
    const std::size_t sectors = got / kSectorBytes;
    for (std::size_t i = 0; i < sectors; ++i, ++sector_number) {
      const auto sector =
          std::span<const std::uint8_t>(buffer).subspan(i * kSectorBytes).first<kSectorBytes>();
      SectorHeader header;
      if (judge_sector(sector, header) != SectorVerdict::good || header.log_id != log_id) {
        ++index.damaged;
        continue;
      }
      index.entries.push_back({header.sequence, header.boot_id, stored_crc(sector), sector_number,
                               file_number,
                               static_cast<std::uint16_t>(header.kind == SectorKind::settings)});
    }
    // A part of a sector at the end: power was lost in mid write.
    if (sectors < kScanBytes / kSectorBytes) return Done{};
  }
}

}  // namespace

void Archive::LogIndex::add(const std::vector<IndexEntry>& fresh) {
  entries.insert(entries.end(), fresh.begin(), fresh.end());
  if (!std::is_sorted(entries.begin(), entries.end(), index_order))
    std::sort(entries.begin(), entries.end(), index_order);
  entries.erase(std::unique(entries.begin(), entries.end(), same_sector), entries.end());
}

Result<Archive> Archive::open(std::filesystem::path directory) {
  std::error_code error;
  std::filesystem::create_directories(directory, error);
  if (!std::filesystem::is_directory(directory, error))
    return Error{"cannot make the archive folder", directory.string(),
                 "check that the depot's folder can be written"};
  auto committed = read_committed(directory);
  if (!committed) return committed.error();
  return Archive(std::move(directory), std::move(*committed));
}

Archive::Archive(std::filesystem::path directory, CommittedSizes committed)
    : directory_(std::move(directory)), committed_(std::move(committed)) {}
Archive::Archive(Archive&&) noexcept = default;
Archive& Archive::operator=(Archive&&) noexcept = default;
Archive::~Archive() = default;

std::filesystem::path Archive::log_directory(std::uint32_t log_id) const {
  return directory_ / (std::string(kLogPrefix) + hex_id(log_id));
}

std::filesystem::path Archive::van_file(std::uint32_t log_id, std::uint32_t van_tag) const {
  return log_directory(log_id) /
         (std::string(kVanPrefix) + hex_id(van_tag) + std::string(kVanSuffix));
}

Result<Done> Archive::take_snapshot() {
  auto committed = read_committed(directory_);
  if (!committed) return committed.error();
  committed_ = std::move(*committed);
  return Done{};
}

std::vector<std::uint32_t> Archive::log_ids() const {
  std::vector<std::uint32_t> ids;
  for (const auto& [name, bytes] : committed_) {
    const std::string_view folder = std::string_view(name).substr(0, name.find('/'));
    if (!is_log_folder(folder)) continue;
    const std::uint32_t id = *read_hex_id(folder.substr(kLogPrefix.size()));
    if (ids.empty() || ids.back() != id) ids.push_back(id);
  }
  // Names of eight upper-case digits are in order of their numbers.
  return ids;
}

Result<std::string> Archive::text(const std::string& name) const {
  const auto found = committed_.find(name);
  if (found == committed_.end()) return std::string{};
  const auto path = directory_ / name;
  if (found->second > kLargestTextBytes)
    return Error{"larger than any file of this archive", path.string(),
                 "it was not made by this program"};
  const FileCloser file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (!file.is_open()) return archive_error("cannot read", path, errno);
  std::string out(static_cast<std::size_t>(found->second), '\0');
  const std::size_t got =
      read_fully(file.fd(), 0, {reinterpret_cast<std::uint8_t*>(out.data()), out.size()});
  if (got != out.size() && errno != 0) return archive_error("cannot read", path, errno);
  out.resize(got);
  return out;
}

Result<const Archive::LogIndex*> Archive::index_of(std::uint32_t log_id) const {
  if (const auto found = indexes_.find(log_id); found != indexes_.end())
    return static_cast<const LogIndex*>(found->second.get());
  auto index = std::make_unique<LogIndex>();
  // In order of their names, as the snapshot has them.
  const std::string folder = std::string(kLogPrefix) + hex_id(log_id) + "/";
  std::vector<std::uint64_t> bytes;
  for (auto at = committed_.lower_bound(folder);
       at != committed_.end() && at->first.starts_with(folder); ++at) {
    index->files.push_back(directory_ / at->first);
    bytes.push_back(at->second);
  }
  if (index->files.size() > 0xFFFF)
    return Error{"more than 65535 van files", log_directory(log_id).string(),
                 "the archive was not made by this program"};
  for (std::size_t i = 0; i < index->files.size(); ++i) {
    auto scanned =
        scan_file(index->files[i], bytes[i], log_id, static_cast<std::uint16_t>(i), *index);
    if (!scanned) return scanned.error();
  }
  index->add({});
  return static_cast<const LogIndex*>((indexes_[log_id] = std::move(index)).get());
}

Result<Done> Archive::for_each_sector(std::uint32_t log_id, SequenceRange range,
                                      const SectorVisit& visit) const {
  auto found = index_of(log_id);
  if (!found) return found.error();
  if (range.last < range.first) return Done{};
  const LogIndex& index = **found;

  // One window a file: the sectors from before the VIN was known lie in another
  // one, and both are read in step.
  struct Window {
    FileCloser file;
    std::vector<std::uint8_t> bytes;
    std::uint64_t first = 0;
    std::uint64_t sectors = 0;
  };
  std::vector<Window> windows(index.files.size());
  const std::size_t window_sectors = static_cast<std::size_t>(
      std::min<std::uint64_t>(kWindowSectors, std::uint64_t{range.last} - range.first + 1));
  for (auto entry = index.first_at(range.first); entry != index.entries.end(); ++entry) {
    if (entry->sequence > range.last) {
      if (entry->settings != 0) continue;
      break;
    }
    if (entry->sequence < range.first) continue;
    Window& window = windows[entry->file];
    if (entry->sector < window.first || entry->sector >= window.first + window.sectors) {
      const auto& path = index.files[entry->file];
      if (!window.file.is_open()) {
        window.file = FileCloser(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
        if (!window.file.is_open()) return archive_error("cannot read", path, errno);
        window.bytes.resize(window_sectors * kSectorBytes);
      }
      window.first = entry->sector;
      window.sectors =
          read_fully(window.file.fd(), window.first * kSectorBytes, window.bytes) / kSectorBytes;
      if (window.sectors == 0)
        return archive_error("became shorter while it was read", path, errno);
    }
    const auto sector =
        std::span<const std::uint8_t>(window.bytes)
            .subspan(static_cast<std::size_t>(entry->sector - window.first) * kSectorBytes)
            .first<kSectorBytes>();
    SectorHeader header;
    if (stored_crc(sector) != entry->crc || !read_known_sector(sector, header))
      return Error{"sector " + std::to_string(entry->sector) + " changed while it was read",
                   index.files[entry->file].string(), "run: packmile rebuild"};
    if (!visit(header, sector)) break;
  }
  return Done{};
}

Result<bool> Archive::holds(const SectorHeader& header,
                            std::span<const std::uint8_t, kSectorBytes> sector) const {
  return holds(header, stored_crc(sector));
}

Result<bool> Archive::holds(const SectorHeader& header, std::uint32_t crc) const {
  auto found = index_of(header.log_id);
  if (!found) return found.error();
  const IndexEntry wanted{header.sequence,
                          header.boot_id,
                          crc,
                          0,
                          0,
                          static_cast<std::uint16_t>(header.kind == SectorKind::settings)};
  return std::binary_search((*found)->entries.begin(), (*found)->entries.end(), wanted,
                            index_order);
}

Result<std::uint64_t> Archive::damaged_sectors(std::uint32_t log_id) const {
  auto found = index_of(log_id);
  if (!found) return found.error();
  return (*found)->damaged;
}

}  // namespace packmile
