// A file that exists in memory only, for readers that open a path.
#pragma once
#include <sys/mman.h>
#include <unistd.h>

#include <cstdint>
#include <span>
#include <string>

#include "fuzz/fuzz_input.hpp"

namespace packmile::fuzz {

class MemoryFile {
 public:
  explicit MemoryFile(std::span<const std::uint8_t> bytes) : fd_(::memfd_create("fuzz", 0)) {
    must(fd_ >= 0, "the system gives a file in memory");
    while (!bytes.empty()) {
      const ssize_t written = ::write(fd_, bytes.data(), bytes.size());
      must(written > 0, "a file in memory takes what is written");
      bytes = bytes.subspan(static_cast<std::size_t>(written));
    }
  }
  MemoryFile(const MemoryFile&) = delete;
  MemoryFile& operator=(const MemoryFile&) = delete;
  ~MemoryFile() { ::close(fd_); }

  [[nodiscard]] std::string path() const { return "/proc/self/fd/" + std::to_string(fd_); }

 private:
  int fd_;
};

}  // namespace packmile::fuzz
