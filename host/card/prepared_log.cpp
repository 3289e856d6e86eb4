#include "card/prepared_log.hpp"

#include <fcntl.h>
#include <linux/fiemap.h>
#include <linux/fs.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <optional>
#include <random>
#include <system_error>
#include <vector>

#include "card/card_file.hpp"
#include "card/card_survey.hpp"
#include "card/child_program.hpp"
#include "packmile.pb.h"

namespace packmile {
namespace {

// 4 MiB: the erase unit of most cards, common practice, no source.
constexpr std::uint64_t kAlignSectors = 4 * kSectorsPerMib;
// A file system with fewer clusters is FAT16 to some systems (Microsoft's
// overview of the format, "FAT type determination"); a few more for safety.
constexpr std::uint64_t kFewestClusters = 65'525 + 16;
// 32 KiB, the largest cluster that every system takes.
constexpr std::uint32_t kMostClusterSectors = 64;
constexpr std::uint32_t kFewestReserved = 32;  // as mkfs.vfat takes it on FAT32
constexpr std::uint32_t kFatCopies = 2;
constexpr std::uint64_t kSpareSectors = 4 * kSectorsPerMib;
constexpr int kMostFormats = 4;
constexpr std::size_t kZerosBytes = 1u << 20;
constexpr char kFormatProgram[] = "mkfs.vfat";

constexpr std::size_t kInfoFreeClusters = 488;
constexpr std::size_t kInfoNextFree = 492;
constexpr std::uint32_t kInfoNotKnown = 0xFFFFFFFF;

Error card_error(const std::string& what, const std::string& where, int error) {
  std::string hint;
  if (error == ENOSPC || error == EDQUOT)
    hint = "make room there, or take a smaller --size-mb";
  else if (error == EACCES || error == EPERM)
    hint = "run it with an account that may write there";
  else if (error == EROFS)
    hint = "is the card's write-protect switch on?";
  else if (error == EIO)
    hint = "the card does not take what is written to it: take another one";
  return {what + ": " + std::generic_category().message(error), where, hint};
}

void set_u16(std::span<std::uint8_t> bytes, std::size_t at, std::uint32_t value) {
  bytes[at] = static_cast<std::uint8_t>(value);
  bytes[at + 1] = static_cast<std::uint8_t>(value >> 8);
}

void set_u32(std::span<std::uint8_t> bytes, std::size_t at, std::uint32_t value) {
  set_u16(bytes, at, value & 0xFFFF);
  set_u16(bytes, at + 2, value >> 16);
}

bool get_sector(int fd, std::uint64_t sector, SectorBytes& out) {
  const ssize_t n = ::pread(fd, out.data(), out.size(), static_cast<off_t>(sector * kSectorBytes));
  if (n >= 0 && n != static_cast<ssize_t>(out.size())) errno = EIO;
  return n == static_cast<ssize_t>(out.size());
}

bool put_bytes(int fd, std::uint64_t sector, std::span<const std::uint8_t> bytes) {
  auto at = static_cast<off_t>(sector * kSectorBytes);
  while (!bytes.empty()) {
    const ssize_t n = ::pwrite(fd, bytes.data(), bytes.size(), at);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) {
      if (n == 0) errno = ENOSPC;
      return false;
    }
    bytes = bytes.subspan(static_cast<std::size_t>(n));
    at += n;
  }
  return true;
}

// Entries of one table that mkfs.vfat will make: enough for all clusters and the
// two that do not exist. The table takes room from the clusters, hence the
// quotient (it is the one that mkfs.vfat uses; make_file_system() looks again).
std::uint32_t fat_sectors_for(std::uint64_t sectors, std::uint32_t cluster_sectors) {
  const std::uint64_t clusters = (sectors * kSectorBytes + kFatCopies * 8) /
                                 (std::uint64_t{cluster_sectors} * kSectorBytes + kFatCopies * 4);
  return static_cast<std::uint32_t>((clusters + kFirstCluster + kFatEntriesPerSector - 1) /
                                    kFatEntriesPerSector);
}

// Puts the log, and with it the end of the reserved sectors, into place behind
// two tables of the given length.
void place_log(NewCardLayout& layout, std::uint32_t fat_sectors) {
  const std::uint64_t tables = std::uint64_t{kFatCopies} * fat_sectors;
  const std::uint64_t before = kFewestReserved + tables + layout.cluster_sectors;
  layout.fat_sectors = fat_sectors;
  layout.log_first_sector = (before + kAlignSectors - 1) / kAlignSectors * kAlignSectors;
  layout.reserved_sectors =
      static_cast<std::uint32_t>(layout.log_first_sector - layout.cluster_sectors - tables);
}

std::optional<NewCardLayout> layout_of(std::uint64_t card_sectors) {
  for (std::uint32_t cluster = kMostClusterSectors; cluster != 0; cluster /= 2) {
    NewCardLayout layout;
    layout.card_sectors = card_sectors;
    layout.cluster_sectors = cluster;
    if (card_sectors <= kAlignSectors) return std::nullopt;
    place_log(layout, fat_sectors_for(card_sectors - kFewestReserved, cluster));
    // Once more: what is reserved takes clusters away.
    if (layout.log_first_sector >= card_sectors) continue;
    place_log(layout, fat_sectors_for(card_sectors - layout.reserved_sectors, cluster));
    if (layout.log_first_sector >= card_sectors) continue;
    if ((card_sectors - layout.log_first_sector) / cluster >= kFewestClusters) return layout;
  }
  return std::nullopt;
}

std::string in_one_line(std::string text) {
  for (std::size_t at = text.find('\n'); at != text.npos; at = text.find('\n', at))
    text.replace(at, 1, "; ");
  return text;
}

std::string mib_text(std::uint64_t sectors) {
  return std::to_string(sectors / kSectorsPerMib) + " MB";
}

// Date and time of a directory entry: years from 1980, steps of 2 s. In UTC:
// which zone the card is in is not known here.
void set_fat_time(std::span<std::uint8_t> entry, std::size_t time_at, std::size_t date_at,
                  UtcTime now) {
  const auto day = std::chrono::floor<std::chrono::days>(now);
  const std::chrono::year_month_day date{day};
  const auto s = std::chrono::duration_cast<std::chrono::seconds>(now - day).count();
  const int year = std::clamp(static_cast<int>(date.year()), 1980, 2107) - 1980;
  set_u16(entry, date_at,
          static_cast<std::uint32_t>(year) << 9 | static_cast<unsigned>(date.month()) << 5 |
              static_cast<unsigned>(date.day()));
  if (time_at != 0)
    set_u16(entry, time_at,
            static_cast<std::uint32_t>(s / 3600 << 11 | s / 60 % 60 << 5 | s % 60 / 2));
}

Result<Done> write_chain(int fd, std::uint64_t fat_sector, std::uint32_t first,
                         std::uint32_t clusters) {
  const std::string where = "allocation table";
  std::uint32_t cluster = first;
  const std::uint32_t last = first + clusters - 1;
  while (cluster <= last) {
    const std::uint64_t at = fat_sector + cluster / kFatEntriesPerSector;
    SectorBytes sector{};
    if (!get_sector(fd, at, sector)) return card_error("cannot be read", where, errno);
    for (;;) {
      const std::size_t offset = std::size_t{cluster % kFatEntriesPerSector} * 4;
      if ((read_u32(sector, offset) & kFatEntryMask) != 0)
        return Error{"the place of the log is taken", where, "prepare the card again"};
      set_u32(sector, offset, cluster == last ? kFatEntryMask : cluster + 1);
      ++cluster;
      if (cluster > last || cluster % kFatEntriesPerSector == 0) break;
    }
    if (!put_bytes(fd, at, sector)) return card_error("cannot be written", where, errno);
  }
  return Done{};
}

Result<Done> take_from_info(int fd, std::uint64_t info_sector, std::uint32_t first,
                            std::uint32_t clusters) {
  const std::string where = "FSInfo sector";
  SectorBytes sector{};
  if (!get_sector(fd, info_sector, sector)) return card_error("cannot be read", where, errno);
  const std::uint32_t free = read_u32(sector, kInfoFreeClusters);
  if (free != kInfoNotKnown) set_u32(sector, kInfoFreeClusters, free - std::min(free, clusters));
  set_u32(sector, kInfoNextFree, first + clusters - 1);
  if (!put_bytes(fd, info_sector, sector)) return card_error("cannot be written", where, errno);
  return Done{};
}

Result<Done> write_entry(int fd, const Fat32Volume& volume, std::uint32_t first_cluster,
                         std::uint64_t bytes, UtcTime now) {
  const std::string where = "root directory";
  const std::uint64_t at = volume.sector_of(volume.root_cluster);
  SectorBytes sector{};
  if (!get_sector(fd, at, sector)) return card_error("cannot be read", where, errno);
  // A fresh directory has the card's name in it and is blank behind that.
  std::size_t offset = 0;
  while (offset < kSectorBytes && sector[offset] != 0) offset += kDirectoryEntryBytes;
  if (offset == kSectorBytes)
    return Error{"the file system is not fresh", where, "prepare the card again"};
  const auto entry = std::span(sector).subspan(offset, kDirectoryEntryBytes);
  std::fill(entry.begin(), entry.end(), std::uint8_t{0});
  std::memcpy(entry.data(), kLogDirectoryName, 11);
  entry[11] = 0x20;  // archive: an ordinary file
  set_fat_time(entry, 14, 16, now);
  set_fat_time(entry, 0, 18, now);
  set_fat_time(entry, 22, 24, now);
  set_u16(entry, 20, first_cluster >> 16);
  set_u16(entry, 26, first_cluster & 0xFFFF);
  set_u32(entry, 28, static_cast<std::uint32_t>(bytes));
  if (!put_bytes(fd, at, sector)) return card_error("cannot be written", where, errno);
  return Done{};
}

// What a signal takes in the settings: key and length in front of its message.
std::size_t bytes_in_settings(const OwnersSignal& signal) { return signal.ByteSizeLong() + 2; }

std::string bytes_word(std::size_t bytes) {
  return std::to_string(bytes) + (bytes == 1 ? " byte" : " bytes");
}

Result<Done> put_owners_signals(const std::vector<OwnersDefinition>& definitions,
                                Settings& settings) {
  if (definitions.size() > kMaxOwnersSignals)
    return Error{"more than " + std::to_string(kMaxOwnersSignals) + " owner's signals: there are " +
                     std::to_string(definitions.size()),
                 {},
                 "leave some out of fleet.toml for this van"};
  for (std::size_t k = 0; k < definitions.size(); ++k) {
    OwnersSignal& signal = *settings.add_owners_signal();
    put_definition(definitions[k], k, signal);
    if (signal.ByteSizeLong() > kMaxOwnersMessageBytes)
      return Error{"the owner's signal '" + definitions[k].name + "' is " +
                       bytes_word(signal.ByteSizeLong() - kMaxOwnersMessageBytes) + " too long",
                   {},
                   "shorten its name or its unit in fleet.toml"};
  }
  return Done{};
}

// What to do about settings that are longer than their sector.
Error too_long(const Settings& settings, std::size_t payload_bytes) {
  std::size_t bytes = 0;
  const OwnersSignal* largest = nullptr;
  for (const OwnersSignal& signal : settings.owners_signal()) {
    bytes += bytes_in_settings(signal);
    if (largest == nullptr || bytes_in_settings(signal) > bytes_in_settings(*largest))
      largest = &signal;
  }
  Error error{"the settings are " + bytes_word(payload_bytes - kSectorPayloadBytes) +
                  " too long for their sector: " + std::to_string(settings.owners_signal_size()) +
                  " owner's signals take " + bytes_word(bytes) + " of " +
                  std::to_string(kSectorPayloadBytes),
              {},
              {}};
  if (largest != nullptr)
    error.hint =
        "in fleet.toml leave a signal of this van out, or shorten names and units (a byte "
        "for each letter); an offset that is not 0 takes 9 bytes, a period_ms 2 to 4; the "
        "largest signal is '" +
        largest->name() + "' with " + bytes_word(bytes_in_settings(*largest));
  return error;
}

}  // namespace

std::uint32_t draw_log_id() {
  std::random_device device;
  std::uint32_t id = 0;
  while (id == 0) id = device();
  return id;
}

Result<SectorBytes> make_settings_sector(const LogIdentity& identity, std::uint64_t log_sectors) {
  const std::uint32_t ring_sectors = ring_sectors_of(log_sectors);
  if (ring_sectors == 0)
    return Error{"too small for a log: " + std::to_string(log_sectors) + " sectors", {}, {}};
  if (identity.van.size() > kMaxVanNameBytes)
    return Error{"the van's name is longer than " + std::to_string(kMaxVanNameBytes) + " bytes",
                 {},
                 "take a shorter one"};
  Record record;
  Settings& settings = *record.mutable_settings();
  settings.set_van(identity.van);
  settings.set_prepared_unix_ms(static_cast<std::uint64_t>(
      std::max<std::int64_t>(identity.prepared.time_since_epoch().count(), 0)));
  if (identity.lithium_battery) settings.set_battery(BATTERY_LITHIUM);
  if (auto done = put_owners_signals(identity.owners_signals, settings); !done) return done.error();
  const std::string payload = record.SerializeAsString();
  if (payload.size() > kSectorPayloadBytes) return too_long(settings, payload.size());
  SectorBytes sector{};
  SectorHeader header;
  header.kind = SectorKind::settings;
  header.payload_bytes = static_cast<std::uint16_t>(payload.size());
  header.log_id = identity.log_id;
  header.ring_sectors = ring_sectors;
  std::memcpy(sector.data() + kSectorHeaderBytes, payload.data(), payload.size());
  seal_sector(sector, header);
  return sector;
}

std::uint64_t image_sectors_for(std::uint64_t log_sectors) {
  // With the least that makes FAT32, whatever the log.
  const std::uint64_t least = kAlignSectors + kFewestClusters;
  return std::max(least + kSpareSectors - least % kSpareSectors,
                  kAlignSectors + log_sectors + kSpareSectors);
}

std::uint32_t longest_log_mib(std::uint64_t card_sectors) {
  const auto layout = layout_of(card_sectors);
  if (!layout) return 0;
  const std::uint64_t room =
      (card_sectors - layout->log_first_sector) / layout->cluster_sectors * layout->cluster_sectors;
  return static_cast<std::uint32_t>(std::min<std::uint64_t>(room / kSectorsPerMib, kMaxLogMib));
}

Result<NewCardLayout> plan_card(std::uint64_t card_sectors, std::uint64_t log_sectors) {
  const auto layout = layout_of(card_sectors);
  if (!layout)
    return Error{"too small for a FAT32 card: " + mib_text(card_sectors),
                 {},
                 "it takes at least " + mib_text(image_sectors_for(0))};
  NewCardLayout out = *layout;
  out.log_sectors = log_sectors;
  const std::uint32_t longest = longest_log_mib(card_sectors);
  if (log_sectors > longest * kSectorsPerMib)
    return Error{
        "no room for a log of " + mib_text(log_sectors) + " on a card of " + mib_text(card_sectors),
        {},
        "take --size-mb " + std::to_string(longest) + " or less, or a larger card"};
  return out;
}

Result<Fat32Volume> make_file_system(const std::filesystem::path& card,
                                     const NewCardLayout& layout) {
  NewCardLayout now = layout;
  for (int k = 0; k < kMostFormats; ++k) {
    // -a: no figures of its own; --mbr=n -I: the card is one file system, also
    // where the device is a whole disk.
    const auto run =
        run_program(kFormatProgram,
                    {"-F", "32", "-a", "-I", "--mbr=n", "-s", std::to_string(now.cluster_sectors),
                     "-R", std::to_string(now.reserved_sectors), "-f", std::to_string(kFatCopies),
                     "-n", "PACKMILE", card.string()});
    if (!run) return run.error();
    if (run->exit_status != 0)
      return Error{std::string(kFormatProgram) +
                       " could not make the file system: " + in_one_line(run->output),
                   card.string(),
                   "is the card write-protected or in use, or the disk of the image full?"};
    const int fd = ::open(card.c_str(), O_RDONLY | O_CLOEXEC);
    if (fd < 0) return card_error("cannot read", card.string(), errno);
    const LogExtentSearch search = search_log_extent(fd, layout.card_sectors);
    ::close(fd);
    if (search.outcome() != ExtentOutcome::no_log_file)
      return Error{"cannot be read back as FAT32", card.string(),
                   "the card does not keep what is written to it: take another one"};
    const Fat32Volume& volume = search.volume();
    if (volume.cluster_sectors == layout.cluster_sectors &&
        volume.data_sector + volume.cluster_sectors == layout.log_first_sector)
      return volume;
    now = layout;
    place_log(now, volume.fat_sectors);
    if (now.log_first_sector != layout.log_first_sector) break;
  }
  return Error{std::string(kFormatProgram) + " lays the card out in a way that is not known",
               card.string(), "tell the version that it prints with --help"};
}

Result<Done> add_log_file(int fd, const Fat32Volume& volume, std::uint64_t first_sector,
                          std::uint64_t log_sectors, UtcTime now) {
  const std::uint64_t into_data = first_sector - volume.data_sector;
  const std::uint64_t clusters =
      (log_sectors + volume.cluster_sectors - 1) / volume.cluster_sectors;
  if (first_sector < volume.data_sector || into_data % volume.cluster_sectors != 0 ||
      log_sectors == 0 || into_data / volume.cluster_sectors + clusters > volume.clusters ||
      log_sectors >= (std::uint64_t{1} << 32) / kSectorBytes)
    return Error{"the log does not fit into the file system", {}, "take a smaller --size-mb"};
  const auto first = static_cast<std::uint32_t>(into_data / volume.cluster_sectors) + kFirstCluster;
  const auto count = static_cast<std::uint32_t>(clusters);
  for (const std::uint64_t fat : {volume.fat_sector, volume.fat_copy_sector}) {
    if (fat == 0) continue;
    if (auto done = write_chain(fd, fat, first, count); !done) return done;
  }
  if (volume.info_sector != 0)
    if (auto done = take_from_info(fd, volume.info_sector, first, count); !done) return done;
  return write_entry(fd, volume, first, log_sectors * kSectorBytes, now);
}

Result<Done> blank_sectors(int fd, std::uint64_t first_sector, std::uint64_t sectors,
                           const std::string& where, const WriteProgress& progress) {
  const std::vector<std::uint8_t> zeros(kZerosBytes);
  for (std::uint64_t done = 0; done < sectors;) {
    const std::uint64_t now = std::min<std::uint64_t>(sectors - done, kZerosBytes / kSectorBytes);
    if (!put_bytes(fd, first_sector + done, std::span(zeros).first(now * kSectorBytes)))
      return card_error("cannot be written", where, errno);
    done += now;
    if (progress) progress(done, sectors);
  }
  return Done{};
}

Result<Done> write_settings(int fd, std::uint64_t first_sector, const SectorBytes& settings,
                            const std::string& where) {
  if (::fsync(fd) != 0 || !put_bytes(fd, first_sector, settings) || ::fsync(fd) != 0)
    return card_error("cannot be written", where, errno);
  // So that reading back reads the card, not the system's memory of it. Advice.
  (void)::posix_fadvise(fd, 0, 0, POSIX_FADV_DONTNEED);
  return Done{};
}

Result<Done> verify_prepared(const std::filesystem::path& card, const LogIdentity& identity,
                             const WriteProgress& progress) {
  const auto opened = CardFile::open(card);
  if (!opened) return opened.error();
  const Error differs{"does not read back as it was written", card.string(),
                      "take another card: this one does not keep what is written to it"};
  const CardSurvey survey = survey_card(*opened, {}, progress);
  SectorBytes first{};
  const auto wanted = make_settings_sector(identity, opened->sectors());
  if (!wanted || survey.verdict != CardVerdict::sound || survey.sectors_good != 1 ||
      !survey.boots.empty() || survey.sectors_older_log != 0 ||
      opened->read(0, first) != first.size() || first != *wanted)
    return differs;
  return Done{};
}

PieceVerdict look_at_pieces(int fd, std::uint64_t bytes) {
  if (bytes == 0) return PieceVerdict::one;
  constexpr std::uint32_t kExtents = 64;
  std::vector<std::uint64_t> room((sizeof(fiemap) + kExtents * sizeof(fiemap_extent) + 7) / 8);
  auto* map = new (room.data()) fiemap{};
  std::uint64_t at = 0;
  std::optional<std::uint64_t> physical;  // where the next byte should lie
  while (at < bytes) {
    *map = fiemap{};
    map->fm_start = at;
    map->fm_length = bytes - at;
    map->fm_flags = FIEMAP_FLAG_SYNC;
    map->fm_extent_count = kExtents;
    if (::ioctl(fd, FS_IOC_FIEMAP, map) != 0) break;
    if (map->fm_mapped_extents == 0) return PieceVerdict::not_seen;
    for (std::uint32_t k = 0; k < map->fm_mapped_extents; ++k) {
      const fiemap_extent& extent = map->fm_extents[k];
      if ((extent.fe_flags & (FIEMAP_EXTENT_UNKNOWN | FIEMAP_EXTENT_DELALLOC)) != 0)
        return PieceVerdict::not_seen;
      if (extent.fe_logical > at || (physical && extent.fe_physical != *physical))
        return PieceVerdict::several;
      physical = extent.fe_physical + extent.fe_length;
      at = extent.fe_logical + extent.fe_length;
    }
  }
  if (at >= bytes) return PieceVerdict::one;

  // The kernel's FAT driver has the older question only, which needs privilege.
  int block_bytes = 0;
  if (::ioctl(fd, FIGETBSZ, &block_bytes) != 0 || block_bytes <= 0) return PieceVerdict::not_seen;
  const std::uint64_t blocks = (bytes + static_cast<std::uint64_t>(block_bytes) - 1) /
                               static_cast<std::uint64_t>(block_bytes);
  std::optional<int> before;
  for (std::uint64_t k = 0; k < blocks; ++k) {
    int block = static_cast<int>(k);
    if (::ioctl(fd, FIBMAP, &block) != 0 || block == 0) return PieceVerdict::not_seen;
    if (before && block != *before + 1) return PieceVerdict::several;
    before = block;
  }
  return PieceVerdict::one;
}

}  // namespace packmile
