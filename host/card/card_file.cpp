#include "card/card_file.hpp"

#include <fcntl.h>
#include <linux/fs.h>
#include <strings.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>
#include <vector>

namespace packmile {
namespace {

constexpr std::size_t kPieceBytes = 1u << 20;
// A piece that cannot be read whole is tried again in pages, which is what the
// system reads from a card at once.
constexpr std::size_t kSmallStepBytes = 4096;
constexpr std::uint64_t kMostSectors = 0xFFFFFFFFu;

std::string system_words(int error) { return std::generic_category().message(error); }

Error cannot_read(const std::string& name, int error) {
  std::string hint;
  if (error == EACCES || error == EPERM)
    hint = "ask for the right to read it, or copy the log file with an account that has it";
  else if (error == ENOENT)
    hint = "pass the folder where the card is mounted, or the log file in it";
  else if (error == ENOTDIR || error == ELOOP)
    hint = "check the path: a part of it is not a folder";
  else if (error == ENOMEDIUM || error == ENXIO)
    hint = "is there a card in the reader?";
  return {error == ENOENT ? "no such file or folder" : "cannot read: " + system_words(error), name,
          hint};
}

// The log in a mounted folder; a FAT driver may show its name in small letters.
std::filesystem::path find_log(const std::filesystem::path& folder, std::error_code& error) {
  std::filesystem::directory_iterator at(folder, error);
  for (const std::filesystem::directory_iterator end; !error && at != end; at.increment(error))
    if (strcasecmp(at->path().filename().c_str(), kLogFileName) == 0) return at->path();
  return {};
}

// Bytes read at an offset, as many as there are; errno is set when it fell
// short of an error, and 0 at the end of the file.
std::size_t read_at(int fd, std::uint64_t offset, std::span<std::uint8_t> out) {
  std::size_t done = 0;
  errno = 0;
  while (done < out.size()) {
    const ssize_t n =
        ::pread(fd, out.data() + done, out.size() - done, static_cast<off_t>(offset + done));
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) {
      if (n == 0) errno = 0;
      break;
    }
    done += static_cast<std::size_t>(n);
  }
  return done;
}

}  // namespace

LogExtentSearch search_log_extent(int fd, std::uint64_t card_sectors) {
  LogExtentSearch search(card_sectors);
  SectorBytes sector{};
  while (const auto wanted = search.wanted()) {
    if (read_at(fd, std::uint64_t{*wanted} * kSectorBytes, sector) == sector.size())
      search.on_sector(sector);
    else
      search.on_unreadable();
  }
  return search;
}

Result<CardFile> CardFile::open(const std::filesystem::path& card) {
  return open(card, Scope::log);
}

Result<CardFile> CardFile::open_whole(const std::filesystem::path& card) {
  return open(card, Scope::whole);
}

Result<CardFile> CardFile::open(const std::filesystem::path& card, Scope scope) {
  CardFile file;
  file.name_ = card.string();
  file.path_ = card;
  struct stat info {};
  if (::stat(card.c_str(), &info) != 0) return cannot_read(file.name_, errno);
  if (S_ISDIR(info.st_mode)) {
    std::error_code error;
    file.path_ = find_log(card, error);
    if (error) return cannot_read(file.name_, error.value());
    if (file.path_.empty())
      return Error{std::string("no ") + kLogFileName + " in this folder", file.name_,
                   "pass the folder that the card's own files are in, or the log file"};
    file.kind_ = CardKind::folder;
    if (::stat(file.path_.c_str(), &info) != 0) return cannot_read(file.path_.string(), errno);
    if (S_ISDIR(info.st_mode))
      return Error{std::string(kLogFileName) + " is a folder, not a log", file.path_.string(),
                   "pass the log file itself"};
  } else if (S_ISBLK(info.st_mode)) {
    file.kind_ = CardKind::device;
    file.has_holes_ = false;
  }
  if (!S_ISREG(info.st_mode) && !S_ISBLK(info.st_mode))
    return Error{"neither a file nor a folder nor a block device", file.name_,
                 "pass the folder where the card is mounted, or the log file in it"};

  file.fd_ = ::open(file.path_.c_str(), O_RDONLY | O_CLOEXEC);
  if (file.fd_ < 0) return cannot_read(file.path_.string(), errno);
  std::uint64_t bytes = static_cast<std::uint64_t>(std::max<off_t>(info.st_size, 0));
  if (S_ISBLK(info.st_mode) && ::ioctl(file.fd_, BLKGETSIZE64, &bytes) != 0)
    return cannot_read(file.path_.string(), errno);
  if (bytes == 0)
    return Error{"empty: 0 bytes", file.path_.string(),
                 "no card in the reader, or a copy that failed: copy the log again"};
  file.sectors_ = std::min(bytes / kSectorBytes, kMostSectors);
  file.part_sector_bytes_ = static_cast<std::uint32_t>(bytes % kSectorBytes);
  if (scope == Scope::log && file.kind_ != CardKind::folder) {
    const LogExtentSearch search = search_log_extent(file.fd_, file.sectors_);
    if (search.outcome() == ExtentOutcome::found) {
      file.kind_ = CardKind::image;
      file.first_sector_ = search.extent().first_sector;
      file.sectors_ = search.extent().sectors;
      file.part_sector_bytes_ = 0;
    }
  }
  // Advice only: a system that does not take it reads as well.
  (void)::posix_fadvise(file.fd_, 0, 0, POSIX_FADV_SEQUENTIAL);
  return file;
}

CardFile::CardFile(CardFile&& other) noexcept { *this = std::move(other); }

CardFile& CardFile::operator=(CardFile&& other) noexcept {
  if (this == &other) return *this;
  if (fd_ >= 0) ::close(fd_);
  fd_ = std::exchange(other.fd_, -1);
  name_ = std::move(other.name_);
  path_ = std::move(other.path_);
  kind_ = other.kind_;
  has_holes_ = other.has_holes_;
  first_sector_ = other.first_sector_;
  sectors_ = other.sectors_;
  part_sector_bytes_ = other.part_sector_bytes_;
  return *this;
}

CardFile::~CardFile() {
  if (fd_ >= 0) ::close(fd_);
}

std::size_t CardFile::read(std::uint64_t first_sector, std::span<std::uint8_t> out) const {
  if (first_sector >= sectors_) return 0;
  const std::uint64_t rest = (sectors_ - first_sector) * kSectorBytes;
  if (rest < out.size()) out = out.first(static_cast<std::size_t>(rest));
  return read_at(fd_, (first_sector_ + first_sector) * kSectorBytes, out) / kSectorBytes *
         kSectorBytes;
}

bool CardFile::part_sector_is_written() const {
  SectorBytes part{};
  const std::size_t got = read_at(fd_, (first_sector_ + sectors_) * kSectorBytes,
                                  std::span(part).first(part_sector_bytes_));
  return std::any_of(part.begin(), part.begin() + static_cast<std::ptrdiff_t>(got),
                     [&](std::uint8_t b) { return b != part[0] || (b != 0x00 && b != 0xFF); });
}

void CardFile::for_each_piece(const PieceVisitor& visitor) const {
  std::vector<std::uint8_t> buffer(std::min<std::uint64_t>(kPieceBytes, sectors_ * kSectorBytes));
  // Offsets in the file; sectors that a visitor is told count from the log.
  const std::uint64_t bytes = (first_sector_ + sectors_) * kSectorBytes;
  const auto sector_at = [&](std::uint64_t offset) {
    return offset / kSectorBytes - first_sector_;
  };
  std::uint64_t at = first_sector_ * kSectorBytes;
  std::uint64_t data_until = 0;  // up to here the system said that there is data
  while (at < bytes) {
    if (has_holes_ && at >= data_until) {
      // Systems without holes say that everything is data; so does an error.
      const off_t data = ::lseek(fd_, static_cast<off_t>(at), SEEK_DATA);
      const std::uint64_t begins = data >= 0        ? static_cast<std::uint64_t>(data)
                                   : errno == ENXIO ? bytes
                                                    : at;
      const std::uint64_t hole_end = std::min(begins, bytes) / kSectorBytes * kSectorBytes;
      if (hole_end > at) {
        visitor.hole(sector_at(at), (hole_end - at) / kSectorBytes);
        at = hole_end;
        if (at == bytes) break;
      }
      const off_t hole = ::lseek(fd_, static_cast<off_t>(std::max(begins, at)), SEEK_HOLE);
      data_until = hole > static_cast<off_t>(at) ? static_cast<std::uint64_t>(hole) : bytes;
      data_until = std::min(bytes, (data_until + kSectorBytes - 1) / kSectorBytes * kSectorBytes);
    }
    std::uint64_t end = std::min(bytes, at + kPieceBytes);
    if (has_holes_) end = std::min(end, data_until);
    const std::span<std::uint8_t> piece(buffer.data(), static_cast<std::size_t>(end - at));
    if (read_at(fd_, at, piece) == piece.size())
      visitor.bytes(sector_at(at), piece);
    else
      read_in_small_steps(sector_at(at), piece, visitor);
    at = end;
  }
}

void CardFile::read_in_small_steps(std::uint64_t first_sector, std::span<std::uint8_t> piece,
                                   const PieceVisitor& visitor) const {
  UnreadableRun run;
  const auto tell_run = [&] {
    if (run.sectors != 0) visitor.unreadable(run);
    run = {};
  };
  for (std::size_t at = 0; at < piece.size(); at += kSmallStepBytes) {
    const auto step = piece.subspan(at, std::min(kSmallStepBytes, piece.size() - at));
    const std::uint64_t sector = first_sector + at / kSectorBytes;
    const std::size_t got =
        read_at(fd_, (first_sector_ + sector) * kSectorBytes, step) / kSectorBytes * kSectorBytes;
    const int error = errno;
    if (got != 0) {
      tell_run();
      visitor.bytes(sector, step.first(got));
    }
    if (got == step.size()) continue;
    if (run.sectors == 0) {
      run.first_sector = sector + got / kSectorBytes;
      run.why = error == 0 ? "the file became shorter while it was read" : system_words(error);
    }
    run.sectors += (step.size() - got) / kSectorBytes;
  }
  tell_run();
}

}  // namespace packmile
