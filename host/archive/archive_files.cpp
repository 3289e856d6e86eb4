#include <unistd.h>

#include <cerrno>
#include <string>
#include <system_error>

#include "archive/log_index.hpp"

namespace packmile {

FileCloser::~FileCloser() {
  if (fd_ >= 0) ::close(fd_);
}

Error archive_error(const char* what, const std::filesystem::path& path, int error) {
  std::string text = what;
  if (error != 0) text += ": " + std::generic_category().message(error);
  std::string hint;
  if (error == ENOSPC || error == EDQUOT)
    hint = "make room on the disk and import again; nothing was changed";
  else if (error == EACCES || error == EPERM || error == EROFS)
    hint = "the archive must be writable for an import; nothing was changed";
  return {std::move(text), path.string(), std::move(hint)};
}

std::size_t read_fully(int fd, std::uint64_t offset, std::span<std::uint8_t> out) {
  std::size_t done = 0;
  errno = 0;
  while (done < out.size()) {
    const ssize_t n =
        ::pread(fd, out.data() + done, out.size() - done, static_cast<off_t>(offset + done));
    if (n < 0 && errno == EINTR) continue;
    if (n == 0) errno = 0;
    if (n <= 0) break;
    done += static_cast<std::size_t>(n);
  }
  return done;
}

bool write_fully(int fd, std::uint64_t offset, std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const ssize_t n = ::pwrite(fd, bytes.data(), bytes.size(), static_cast<off_t>(offset));
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return false;
    bytes = bytes.subspan(static_cast<std::size_t>(n));
    offset += static_cast<std::size_t>(n);
  }
  return true;
}

}  // namespace packmile
