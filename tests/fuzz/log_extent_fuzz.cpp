// The search for the log on a FAT32 card: a card made sector by sector, its
// layout, patches and unreadable sectors from the input.
//
// Holds  the search ends within its reads; it never asks for a sector beyond the
//        card; a log that is found lies inside the card, and a plain walk of the
//        same card, sector by sector from the directory on, comes to the same.
#include <array>
#include <map>
#include <optional>
#include <set>
#include <string_view>

#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "volume/log_extent.hpp"

namespace packmile::fuzz {
namespace {

using Sector = std::array<std::uint8_t, kSectorBytes>;

void put(Sector& sector, std::size_t at, std::uint32_t value, std::size_t bytes) {
  for (std::size_t i = 0; i < bytes; ++i)
    sector[at + i] = static_cast<std::uint8_t>(value >> (8 * i));
}

std::uint64_t extent_number_at(const Sector& sector, std::size_t at, std::size_t bytes) {
  std::uint64_t value = 0;
  for (std::size_t i = bytes; i-- > 0;) value = value * 256 + sector[at + i];
  return value;
}

// Nothing is kept but what differs from the layout: a card of 2 GB in a few bytes.
class Card {
 public:
  explicit Card(Input input) : source_(input) {
    const std::uint8_t how = source_.u8();
    volume_at_ = (how & 1) != 0 ? 1u + source_.u16() % 8192u : 0u;
    cluster_sectors_ = 1u << source_.u8() % 8u;
    reserved_ = 2u + source_.u8() % 64u;
    copies_ = (how & 2) != 0 ? 2 : 1;
    clusters_ = 1u + source_.u16() * (1u + source_.u8() % 4u);
    fat_sectors_ = (clusters_ + 2 + 127) / 128;
    root_ = 2 + source_.u16() % clusters_;
    log_ = 2 + source_.u16() % clusters_;
    log_bytes_ = 512u * source_.u16() + ((how & 4) != 0 ? source_.u8() : 0u);
    entry_at_ = source_.u8() % 32u;
    data_at_ = volume_at_ + reserved_ + copies_ * fat_sectors_;
    const std::uint64_t end = data_at_ + std::uint64_t{clusters_} * cluster_sectors_;
    sectors_ = (how & 8) != 0 ? source_.u32() % 0x1000000u : end;
    for (std::size_t i = 0; i < 64 && !source_.empty(); ++i) patch();
  }

  [[nodiscard]] std::uint64_t sectors() const { return sectors_; }
  [[nodiscard]] bool readable(std::uint64_t at) const { return !unreadable_.contains(at); }

  [[nodiscard]] Sector read(std::uint64_t at) const {
    Sector sector = laid_out(at);
    const auto first = patches_.lower_bound({at, 0});
    for (auto p = first; p != patches_.end() && p->first.first == at; ++p)
      sector[p->first.second] = p->second;
    return sector;
  }

 private:
  // A place that matters, then what stands there instead.
  void patch() {
    const std::uint8_t what = source_.u8();
    std::uint64_t at = source_.u16();
    switch (what % 8) {
      case 0:
        at = 0;
        break;
      case 1:
        at = volume_at_;
        break;
      case 2:
        at = volume_at_ + reserved_ + at % (copies_ * fat_sectors_);
        break;
      case 3:
        at = volume_at_ + reserved_ + log_ / 128;
        break;
      case 4:
        at = volume_at_ + reserved_ + root_ / 128;
        break;
      case 5:
        at = data_at_ + std::uint64_t{root_ - 2} * cluster_sectors_ + at % cluster_sectors_;
        break;
      default:
        break;
    }
    if ((what & 0xF0) == 0xF0) {
      unreadable_.insert(at);
      return;
    }
    std::size_t offset = source_.u16() % kSectorBytes;
    for (const std::uint8_t byte : source_.bytes(1u + what / 32u))
      patches_[{at, offset++ % kSectorBytes}] = byte;
  }

  [[nodiscard]] Sector laid_out(std::uint64_t at) const {
    Sector s{};
    if (at == volume_at_) {
      s[0] = 0xEB;
      put(s, 11, 512, 2);
      put(s, 13, cluster_sectors_, 1);
      put(s, 14, reserved_, 2);
      put(s, 16, copies_, 1);
      put(s, 32, static_cast<std::uint32_t>(data_at_ - volume_at_ + clusters_ * cluster_sectors_),
          4);
      put(s, 36, fat_sectors_, 4);
      put(s, 44, root_, 4);
      put(s, 48, 1, 2);
      put(s, 510, 0xAA55, 2);
    } else if (at == 0) {
      s[446] = 0x80;
      put(s, 450, 0x0C, 1);
      put(s, 454, static_cast<std::uint32_t>(volume_at_), 4);
      put(s, 458, clusters_ * cluster_sectors_, 4);
      put(s, 510, 0xAA55, 2);
    } else if (at >= volume_at_ + reserved_ && at < data_at_) {
      const std::uint64_t first = (at - volume_at_ - reserved_) % fat_sectors_ * 128;
      const std::uint64_t per_cluster = std::uint64_t{cluster_sectors_} * 512;
      const std::uint64_t last = log_ + (log_bytes_ + per_cluster - 1) / per_cluster - 1;
      for (std::uint64_t i = 0; i < 128; ++i) {
        const std::uint64_t n = first + i;
        std::uint32_t entry = 0;
        if (n >= log_ && n < last) entry = static_cast<std::uint32_t>(n + 1);
        if (n == last || n == root_) entry = 0x0FFFFFFF;
        put(s, i * 4, entry, 4);
      }
    } else if (at >= data_at_ + std::uint64_t{root_ - 2} * cluster_sectors_ &&
               at < data_at_ + std::uint64_t{root_ - 1} * cluster_sectors_) {
      const std::uint64_t in_cluster = (at - data_at_) % cluster_sectors_;
      for (std::uint32_t i = 0; i < 16; ++i) {
        const std::uint64_t entry = in_cluster * 16 + i;
        if (entry > entry_at_) break;
        const std::string_view name = entry == entry_at_ ? "PACKMILELOG" : "OTHER   TXT";
        for (std::size_t c = 0; c < 11; ++c) s[i * 32 + c] = static_cast<std::uint8_t>(name[c]);
        put(s, i * 32 + 11, 0x20, 1);
        put(s, i * 32 + 20, log_ >> 16, 2);
        put(s, i * 32 + 26, log_ & 0xFFFF, 2);
        put(s, i * 32 + 28, log_bytes_, 4);
      }
    }
    return s;
  }

  ByteSource source_;
  std::uint64_t volume_at_ = 0;
  std::uint32_t cluster_sectors_ = 0;
  std::uint32_t reserved_ = 0;
  std::uint32_t copies_ = 0;
  std::uint32_t clusters_ = 0;
  std::uint32_t fat_sectors_ = 0;
  std::uint32_t root_ = 0;
  std::uint32_t log_ = 0;
  std::uint32_t log_bytes_ = 0;
  std::uint32_t entry_at_ = 0;
  std::uint64_t data_at_ = 0;
  std::uint64_t sectors_ = 0;
  std::map<std::pair<std::uint64_t, std::size_t>, std::uint8_t> patches_;
  std::set<std::uint64_t> unreadable_;
};

// Where the log's bytes lie, sector by sector, by following the file system from
// the volume's boot sector on. None: not found, or somewhere it makes no sense.
class PlainWalk {
 public:
  PlainWalk(const Card& card, std::uint64_t volume_at) : card_(card) {
    const Sector boot = card.read(volume_at);
    cluster_sectors_ = extent_number_at(boot, 13, 1);
    const std::uint64_t fat_sectors = extent_number_at(boot, 36, 4);
    const std::uint64_t flags = extent_number_at(boot, 40, 2);
    const std::uint64_t fat = volume_at + extent_number_at(boot, 14, 2);
    active_ = fat + ((flags & 0x80) != 0 ? (flags & 0x0F) * fat_sectors : 0);
    if ((flags & 0x80) == 0 && extent_number_at(boot, 16, 1) > 1) second_ = active_ + fat_sectors;
    data_ = fat + extent_number_at(boot, 16, 1) * fat_sectors;
    root_ = extent_number_at(boot, 44, 4) & 0x0FFFFFFF;
  }

  [[nodiscard]] std::uint64_t sector_of(std::uint64_t cluster) const {
    return data_ + (cluster - 2) * cluster_sectors_;
  }
  [[nodiscard]] std::uint64_t next(std::uint64_t cluster) const {
    const std::uint64_t at = active_ + cluster / 128;
    // The last one is kept: a chain stays in one FAT sector for long.
    if (at != fat_at_) {
      fat_ = card_.read(card_.readable(at) ? at : *second_ + cluster / 128);
      fat_at_ = at;
    }
    return extent_number_at(fat_, cluster % 128 * 4, 4) & 0x0FFFFFFF;
  }

  // Directory entry of the log.
  [[nodiscard]] std::optional<std::array<std::uint8_t, 32>> entry() const {
    std::uint64_t cluster = root_;
    for (std::size_t seen = 0; seen < 65'536 / 16 / cluster_sectors_ + 1; ++seen) {
      for (std::uint64_t i = 0; i < cluster_sectors_; ++i) {
        const Sector sector = card_.read(sector_of(cluster) + i);
        for (std::size_t at = 0; at < 512; at += 32) {
          if (sector[at] == 0) return std::nullopt;
          const std::string_view name(reinterpret_cast<const char*>(&sector[at]), 11);
          if (name != "PACKMILELOG" || (sector[at + 11] & 0x18) != 0) continue;
          std::array<std::uint8_t, 32> out{};
          for (std::size_t b = 0; b < 32; ++b) out[b] = sector[at + b];
          return out;
        }
      }
      cluster = next(cluster);
      if (cluster < 2 || cluster >= 0x0FFFFFF8) return std::nullopt;
    }
    return std::nullopt;
  }

  void check(const LogExtent& extent) const {
    const auto found = entry();
    must(found.has_value(), "a plain walk finds the file too");
    const auto number = [&](std::size_t at) {
      return static_cast<std::uint64_t>((*found)[at]) | static_cast<std::uint64_t>((*found)[at + 1])
                                                            << 8;
    };
    const std::uint64_t bytes = number(28) | number(30) << 16;
    std::uint64_t cluster = number(20) << 16 | number(26);
    must(extent.sectors == bytes / 512, "the extent is as long as the file");
    must(extent.first_sector == sector_of(cluster), "the extent begins where the file does");
    for (std::uint64_t done = 0; done < extent.sectors; done += cluster_sectors_) {
      must(sector_of(cluster) == extent.first_sector + done, "the file goes on where it should");
      if (done + cluster_sectors_ < extent.sectors) cluster = next(cluster);
    }
  }

 private:
  const Card& card_;
  std::uint64_t cluster_sectors_ = 0;
  std::uint64_t active_ = 0;
  std::optional<std::uint64_t> second_;
  std::uint64_t data_ = 0;
  std::uint64_t root_ = 0;
  mutable Sector fat_{};
  mutable std::uint64_t fat_at_ = ~std::uint64_t{0};
};

}  // namespace

void try_log_extent(Input input) {
  const Card card(input);
  LogExtentSearch search(card.sectors());
  // log_extent.hpp, "Bounded": twice, for FAT sectors read again from the copy.
  // The card has at most 262,141 clusters, but a patched boot sector may claim
  // more: then the FAT's own sectors bound the chain.
  constexpr std::uint64_t kDirectoryReads = 3 * 4096;
  std::uint64_t reads = 0;
  while (const auto wanted = search.wanted()) {
    must(*wanted < card.sectors(), "nothing beyond the card is asked for");
    if (card.readable(*wanted))
      search.on_sector(card.read(*wanted));
    else
      search.on_unreadable();
    ++reads;
    must(reads <= 5 + kDirectoryReads + 2 * (search.extent().sectors / 128 + 2),
         "the search ends within its reads");
  }
  must(search.finished() && search.outcome() != ExtentOutcome::searching,
       "it ends with an outcome");
  must(search.reads() == reads, "reads are counted");
  if (search.outcome() != ExtentOutcome::found) return;
  const LogExtent extent = search.extent();
  must(std::uint64_t{extent.first_sector} + extent.sectors <= card.sectors(),
       "the log lies inside the card");
  must(ring_sectors_of(extent.sectors) != 0, "the log has room for a ring");
  must(extent.first_sector >= search.volume().data_sector, "the log is no part of the FAT");
  PlainWalk(card, search.volume().first_sector).check(extent);
}

}  // namespace packmile::fuzz
