#include "linux/card_file.hpp"

#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <utility>

#include <fcntl.h>
#include <linux/fs.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace packmile::port {
namespace {

constexpr const char* kPrepareHint = "prepare the card: packmile card prepare TARGET --van NAME";

}  // namespace

std::variant<CardFile, PortError> CardFile::open(const std::string& target) {
  std::error_code ignored;
  const std::string path = std::filesystem::is_directory(target, ignored)
                               ? (std::filesystem::path(target) / kLogFileName).string()
                               : target;
  // Of a block device O_EXCL asks for one that nothing has mounted: two writers
  // would not see each other.
  const bool device = std::filesystem::is_block_file(path, ignored);
  const int descriptor = ::open(path.c_str(), O_RDWR | O_CLOEXEC | (device ? O_EXCL : 0));
  if (descriptor < 0) {
    const int error = errno;
    if (device && error == EBUSY)
      return PortError{"the card is mounted", path,
                       "unmount it, or pass the folder it is mounted at"};
    if (error == ENOENT) return PortError{"no log here", path, kPrepareHint};
    return PortError{std::string("cannot open the log: ") + std::strerror(error), path, ""};
  }
  struct stat info {};
  std::uint64_t bytes = 0;
  bool usable = ::fstat(descriptor, &info) == 0;
  if (usable && S_ISREG(info.st_mode)) {
    bytes = static_cast<std::uint64_t>(info.st_size);
  } else if (usable && S_ISBLK(info.st_mode)) {
    usable = ::ioctl(descriptor, BLKGETSIZE64, &bytes) == 0;
  } else {
    usable = false;
  }
  CardFile card(descriptor, path, bytes);
  if (!usable) return PortError{"not a file or a block device", path, kPrepareHint};
  if (ring_sectors_of(card.sectors_) == 0)
    return PortError{"too small for a log (" + std::to_string(bytes) + " bytes)", path,
                     kPrepareHint};
  if (::flock(descriptor, LOCK_EX | LOCK_NB) != 0)
    return PortError{"another logger writes this log", path, "stop it first"};
  card.layout_ = device ? CardLayout::volume : card.look();
  return card;
}

CardLayout CardFile::look() {
  std::array<std::uint8_t, kSectorBytes> sector{};
  SectorHeader header;
  if (!read(0, sector) || read_sector(sector, header) == SectorVerdict::good)
    return CardLayout::log;
  return sector[510] == 0x55 && sector[511] == 0xAA ? CardLayout::volume : CardLayout::log;
}

CardFile::CardFile(CardFile&& other) noexcept
    : path_(std::move(other.path_)),
      last_error_(std::move(other.last_error_)),
      bytes_(other.bytes_),
      sectors_(other.sectors_),
      layout_(other.layout_),
      descriptor_(std::exchange(other.descriptor_, -1)) {}

CardFile::~CardFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

bool CardFile::fail() {
  last_error_ = std::strerror(errno);
  return false;
}

bool CardFile::read(std::uint32_t address, std::span<std::uint8_t, kSectorBytes> out) {
  if (address >= sectors_) {
    errno = EINVAL;
    return fail();
  }
  std::size_t done = 0;
  while (done < out.size()) {
    const auto at = static_cast<off_t>(static_cast<std::uint64_t>(address) * kSectorBytes + done);
    const ssize_t n = ::pread(descriptor_, out.data() + done, out.size() - done, at);
    if (n < 0 && errno == EINTR) continue;
    if (n == 0) errno = EIO;  // the file became shorter
    if (n <= 0) return fail();
    done += static_cast<std::size_t>(n);
  }
  return true;
}

bool CardFile::write(std::uint32_t address, std::span<const std::uint8_t, kSectorBytes> sector) {
  if (address >= sectors_) {
    errno = EINVAL;
    return fail();
  }
  std::size_t done = 0;
  while (done < sector.size()) {
    const auto at = static_cast<off_t>(static_cast<std::uint64_t>(address) * kSectorBytes + done);
    const ssize_t n = ::pwrite(descriptor_, sector.data() + done, sector.size() - done, at);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return fail();
    done += static_cast<std::size_t>(n);
  }
  // The file is preallocated: no metadata changes, so the data alone will do.
  return ::fdatasync(descriptor_) == 0 || fail();
}

}  // namespace packmile::port
