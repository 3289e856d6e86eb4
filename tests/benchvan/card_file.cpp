#include "benchvan/card_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <utility>

#include "benchvan/bench_error.hpp"
#include "sector/sector.hpp"
#include "volume/log_extent.hpp"

namespace packmile::benchvan {
namespace {

[[noreturn]] void refuse(const std::string& path, const std::string& what) {
  throw BenchError(fmt::format("{}: {}", path, what));
}

void write_sector(const std::string& path, int file, std::uint64_t address,
                  const SectorBytes& sector) {
  const auto offset = static_cast<off_t>(address * kSectorBytes);
  if (::pwrite(file, sector.data(), sector.size(), offset) != static_cast<ssize_t>(sector.size())) {
    refuse(path, fmt::format("sector {} cannot be written: {}", address, std::strerror(errno)));
  }
}

}  // namespace

CardFile::CardFile(std::string path, int file, std::uint64_t sectors)
    : path_(std::move(path)), file_(file), sectors_(sectors) {}

CardFile::CardFile(CardFile&& other) noexcept
    : path_(std::move(other.path_)),
      file_(std::exchange(other.file_, -1)),
      sectors_(other.sectors_),
      written_(other.written_),
      layout_(other.layout_),
      fields_(std::move(other.fields_)) {}

CardFile::~CardFile() {
  if (file_ >= 0) ::close(file_);
}

CardFile CardFile::prepare(const std::string& path, std::uint64_t size_bytes, std::uint32_t log_id,
                           const CardSettings& settings) {
  const int file = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
  if (file < 0) refuse(path, std::strerror(errno));
  CardFile card(path, file, size_bytes / kSectorBytes);
  if (::ftruncate(file, static_cast<off_t>(size_bytes)) != 0) {
    refuse(path, fmt::format("cannot be made {} bytes long: {}", size_bytes, std::strerror(errno)));
  }
  const std::optional<SectorBytes> head =
      make_settings_sector(log_id, ring_sectors_of(card.sectors_), settings);
  if (!head) refuse(path, "the settings do not fit into a sector");
  write_sector(path, file, 0, *head);
  card.fields_ = settings.fields;
  return card;
}

struct CardFile::Opened {
  CardFile card;
  std::uint32_t first;  // sector of the log
  SectorBytes settings;
};

CardFile::Opened CardFile::open(const std::string& path, int flags) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) refuse(path, std::strerror(errno));
  if (!S_ISREG(status.st_mode)) refuse(path, "not a log: not a regular file");
  const int file = ::open(path.c_str(), flags | O_CLOEXEC);
  if (file < 0) refuse(path, std::strerror(errno));
  Opened opened{
      CardFile(path, file, static_cast<std::uint64_t>(status.st_size) / kSectorBytes), 0, {}};
  CardFile& card = opened.card;
  SectorBytes& sector = opened.settings;
  if (ring_sectors_of(card.sectors_) == 0) {
    refuse(path, fmt::format("not a log: {} bytes", status.st_size));
  }
  if (!card.read(0, sector))
    refuse(path, fmt::format("sector 0 cannot be read: {}", std::strerror(errno)));
  SectorHeader header;
  if (read_sector(sector, header) != SectorVerdict::good && sector[510] == 0x55 &&
      sector[511] == 0xAA) {
    card.layout_ = CardLayout::volume;
    opened.first = card.find_log();
    if (!card.read(opened.first, sector))
      refuse(path, fmt::format("sector {} cannot be read: {}", opened.first, std::strerror(errno)));
  }
  const std::optional<std::vector<OwnersField>> fields = fields_in(sector);
  if (!fields) {
    refuse(path,
           "not a log that could be continued: no settings in sector 0\n"
           "  give a file that does not exist, or one that drive has made");
  }
  card.fields_ = *fields;
  return opened;
}

CardFile CardFile::continue_log(const std::string& path,
                                std::optional<std::uint32_t> poll_period_ms) {
  Opened opened = open(path, O_RDWR);
  const std::optional<SectorBytes> head = with_poll_period(opened.settings, poll_period_ms);
  if (!head) refuse(path, "the settings do not fit into a sector");
  if (*head != opened.settings) write_sector(path, opened.card.file_, opened.first, *head);
  return std::move(opened.card);
}

std::vector<OwnersField> CardFile::read_fields(const std::string& path) {
  std::error_code trouble;
  const bool folder = std::filesystem::is_directory(path, trouble);
  return open(folder ? path + "/PACKMILE.LOG" : path, O_RDONLY).card.fields_;
}

bool CardFile::read(std::uint64_t address, std::span<std::uint8_t, 512> sector) const {
  const auto offset = static_cast<off_t>(address * kSectorBytes);
  return ::pread(file_, sector.data(), sector.size(), offset) ==
         static_cast<ssize_t>(sector.size());
}

std::uint32_t CardFile::find_log() const {
  LogExtentSearch search(sectors_);
  while (const std::optional<std::uint32_t> at = search.wanted()) {
    SectorBytes sector{};
    if (read(*at, sector))
      search.on_sector(sector);
    else
      search.on_unreadable();
  }
  if (search.outcome() != ExtentOutcome::found)
    refuse(path_,
           "no log in one piece on this card image\n"
           "  prepare it: packmile card prepare IMAGE --van NAME");
  return search.extent().first_sector;
}

CardAnswer CardFile::serve(const CardRequest& request, std::span<std::uint8_t, 512> sector) {
  if (request.address >= sectors_) return {};
  const auto offset = static_cast<off_t>(std::uint64_t{request.address} * kSectorBytes);
  switch (request.operation) {
    case CardOperation::read:
      if (!read(request.address, sector)) return {};
      return {.ok = true, .sector = sector.data()};
    case CardOperation::write:
      if (request.sector == nullptr || ::pwrite(file_, request.sector, kSectorBytes, offset) !=
                                           static_cast<ssize_t>(kSectorBytes)) {
        return {};
      }
      ++written_;
      return {.ok = true};
  }
  return {};
}

}  // namespace packmile::benchvan
