// What the archive's own sources share: the index of one log, and files.
#pragma once
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <utility>
#include <vector>

#include "archive/archive.hpp"
#include "result.hpp"

namespace packmile {

// Where one good sector lies in the archive: 20 bytes.
struct IndexEntry {
  std::uint32_t sequence;
  std::uint32_t boot_id;
  std::uint32_t crc;
  std::uint32_t sector;  // number within its file
  std::uint16_t file;    // index into LogIndex::files
  std::uint16_t settings;
};

// Settings first, then by sequence, boot and CRC; copies left out.
struct Archive::LogIndex {
  std::vector<std::filesystem::path> files;
  std::vector<IndexEntry> entries;
  std::uint64_t damaged = 0;

  // Takes new entries in and brings all into order.
  void add(const std::vector<IndexEntry>& fresh);
  // The first entry that a walk from `sequence` on has to look at.
  [[nodiscard]] std::vector<IndexEntry>::const_iterator first_at(std::uint32_t sequence) const {
    if (sequence == 0) return entries.begin();
    return std::partition_point(entries.begin(), entries.end(), [&](const IndexEntry& e) {
      return e.settings != 0 || e.sequence < sequence;
    });
  }
};

class FileCloser {
 public:
  FileCloser() = default;
  explicit FileCloser(int fd) : fd_(fd) {}
  FileCloser(FileCloser&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  FileCloser& operator=(FileCloser&& other) noexcept {
    std::swap(fd_, other.fd_);
    return *this;
  }
  ~FileCloser();

  [[nodiscard]] bool is_open() const { return fd_ >= 0; }
  [[nodiscard]] int fd() const { return fd_; }

 private:
  int fd_ = -1;
};

// The system's words for `error`, and what to do about the usual ones.
[[nodiscard]] Error archive_error(const char* what, const std::filesystem::path& path, int error);

// Bytes from an offset, as many as there are; errno is 0 at the end of the file
// and says what was wrong otherwise.
[[nodiscard]] std::size_t read_fully(int fd, std::uint64_t offset, std::span<std::uint8_t> out);
// False: errno says why.
[[nodiscard]] bool write_fully(int fd, std::uint64_t offset, std::span<const std::uint8_t> bytes);

}  // namespace packmile
