// Finding the log on a small FAT32 card made here field by field from
// Microsoft's "FAT: General Overview of On-Disk Format" 1.03; images made by
// mkfs.vfat and mtools are read in tests/cli.
#include "volume/log_extent.hpp"

#include <doctest/doctest.h>

#include <array>
#include <map>
#include <random>
#include <set>
#include <string>
#include <vector>

using namespace packmile;

namespace {

using Sector = std::array<std::uint8_t, kSectorBytes>;

// A card of which only written sectors exist; the rest are zeros.
struct Card {
  std::map<std::uint32_t, Sector> sector;
  std::set<std::uint32_t> unreadable;
  std::uint64_t sectors = 200'000;

  void put(std::uint32_t at, std::size_t offset, std::uint32_t value, int bytes) {
    auto& s = sector[at];
    for (int i = 0; i < bytes; ++i)
      s[offset + static_cast<std::size_t>(i)] = static_cast<std::uint8_t>(value >> (8 * i));
  }
  void text(std::uint32_t at, std::size_t offset, const std::string& what) {
    for (std::size_t i = 0; i < what.size(); ++i)
      sector[at][offset + i] = static_cast<std::uint8_t>(what[i]);
  }

  LogExtentSearch find() const {
    LogExtentSearch search(sectors);
    while (const auto at = search.wanted()) {
      REQUIRE(*at < sectors);
      REQUIRE(search.reads() < 20'000);
      if (unreadable.contains(*at)) {
        search.on_unreadable();
        continue;
      }
      const auto found = sector.find(*at);
      search.on_sector(found == sector.end() ? Sector{} : found->second);
    }
    return search;
  }
};

constexpr std::uint32_t kReserved = 32;
constexpr std::uint32_t kFatSectors = 200;
constexpr std::uint32_t kClusterSectors = 8;

// A file system from `first` on; two copies of the FAT, root in cluster 2.
struct Volume {
  Card& card;
  std::uint32_t first;

  explicit Volume(Card& on, std::uint32_t first_sector = 0) : card(on), first(first_sector) {
    card.put(first, 0, 0x9058EB, 3);
    card.text(first, 3, "TESTFAT ");
    card.put(first, 11, 512, 2);
    card.put(first, 13, kClusterSectors, 1);
    card.put(first, 14, kReserved, 2);
    card.put(first, 16, 2, 1);
    card.put(first, 32, 190'000, 4);
    card.put(first, 36, kFatSectors, 4);
    card.put(first, 44, 2, 4);
    card.put(first, 48, 1, 2);
    card.put(first, 510, 0xAA55, 2);
    fat(0, 0x0FFFFFF8);
    fat(1, 0x0FFFFFFF);
    fat(2, 0x0FFFFFFF);
  }
  void fat(std::uint32_t cluster, std::uint32_t value) {
    for (std::uint32_t copy = 0; copy < 2; ++copy)
      card.put(first + kReserved + copy * kFatSectors + cluster / 128, cluster % 128 * 4, value, 4);
  }
  std::uint32_t data(std::uint32_t cluster) const {
    return first + kReserved + 2 * kFatSectors + (cluster - 2) * kClusterSectors;
  }
  // Entry `index` of the directory in `cluster`.
  void entry(std::uint32_t cluster, std::uint32_t index, const std::string& name,
             std::uint32_t first_cluster, std::uint32_t bytes, std::uint8_t attributes = 0x20) {
    const std::uint32_t at = data(cluster) + index / 16;
    const std::size_t offset = index % 16 * 32;
    card.text(at, offset, name);
    card.put(at, offset + 11, attributes, 1);
    card.put(at, offset + 20, first_cluster >> 16, 2);
    card.put(at, offset + 26, first_cluster & 0xFFFF, 2);
    card.put(at, offset + 28, bytes, 4);
  }
  void chain(std::uint32_t first_cluster, std::uint32_t clusters) {
    for (std::uint32_t i = 0; i + 1 < clusters; ++i) fat(first_cluster + i, first_cluster + i + 1);
    fat(first_cluster + clusters - 1, 0x0FFFFFFF);
  }
};

constexpr std::uint32_t kLogClusters = 300;  // crosses FAT sectors
constexpr std::uint32_t kLogBytes = kLogClusters * kClusterSectors * 512;

void add_log(Volume& volume, std::uint32_t index = 0) {
  volume.entry(2, index, kLogDirectoryName, 500, kLogBytes);
  volume.chain(500, kLogClusters);
}

}  // namespace

TEST_CASE("log extent: a card without a partition table") {
  Card card;
  Volume volume(card);
  add_log(volume);
  const auto search = card.find();
  REQUIRE(search.outcome() == ExtentOutcome::found);
  CHECK(search.extent() == LogExtent{volume.data(500), kLogClusters * kClusterSectors});
  CHECK(search.volume().cluster_sectors == kClusterSectors);
  // Boot sector, directory, FAT entries 500 to 799 in four sectors.
  CHECK(search.reads() == 6);
}

TEST_CASE("log extent: the second partition holds the file system") {
  Card card;
  Volume volume(card, 8192);
  add_log(volume);
  card.put(0, 510, 0xAA55, 2);
  card.put(0, 446 + 4, 0x83, 1);
  card.put(0, 446 + 8, 2048, 4);
  card.put(0, 446 + 12, 6144, 4);
  card.put(0, 462 + 4, 0x0C, 1);
  card.put(0, 462 + 8, 8192, 4);
  card.put(0, 462 + 12, 190'000, 4);
  const auto search = card.find();
  REQUIRE(search.outcome() == ExtentOutcome::found);
  CHECK(search.extent().first_sector == volume.data(500));
  // The table of a larger card.
  card.sectors = 8192;
  CHECK(card.find().outcome() == ExtentOutcome::other_file_system);
  card.sectors = 2000;
  CHECK(card.find().outcome() == ExtentOutcome::beyond_card);
}

TEST_CASE("log extent: among other files, deleted ones, long names, in a second cluster") {
  Card card;
  Volume volume(card);
  volume.entry(2, 0, "CARD       ", 0, 0, 0x08);
  volume.entry(2, 1, "PACKMILELOG", 0, 0, 0x10);                          // a folder of that name
  volume.entry(2, 2, "PACKMILELOG", 100, kLogBytes, 0x0F);                // part of a long name
  volume.entry(2, 3, std::string("\xE5") + "ACKMILELOG", 90, kLogBytes);  // deleted
  for (std::uint32_t i = 4; i < 128; ++i) volume.entry(2, i, "OTHER   TXT", 40, 10);
  volume.fat(2, 7);
  volume.fat(7, 0x0FFFFFFF);
  volume.entry(7, 5, "OTHER   TXT", 40, 10);
  for (std::uint32_t i = 0; i < 5; ++i) volume.entry(7, i, "OTHER   TXT", 40, 10);
  volume.entry(7, 6, kLogDirectoryName, 500, kLogBytes);
  volume.chain(500, kLogClusters);
  CHECK(card.find().outcome() == ExtentOutcome::found);
  // A chain of the directory that runs in a circle ends.
  volume.entry(7, 6, "OTHER   TXT", 40, 10);
  for (std::uint32_t i = 7; i < 128; ++i) volume.entry(7, i, "OTHER   TXT", 40, 10);
  volume.fat(7, 2);
  CHECK(card.find().outcome() == ExtentOutcome::bad_file_system);
}

TEST_CASE("log extent: a file in two pieces is refused wherever it breaks") {
  for (std::uint32_t at = 0; at + 1 < kLogClusters; ++at) {
    CAPTURE(at);
    Card card;
    Volume volume(card);
    add_log(volume);
    volume.fat(500 + at, 9000);
    CHECK(card.find().outcome() == ExtentOutcome::fragmented);
    volume.fat(500 + at, 0);  // free in mid-file
    CHECK(card.find().outcome() == ExtentOutcome::bad_file_system);
    volume.fat(500 + at, 0x0FFFFFF8);  // ends too early
    CHECK(card.find().outcome() == ExtentOutcome::bad_file_system);
  }
}

TEST_CASE("log extent: a FAT sector that cannot be read is looked up in the second copy") {
  Card card;
  Volume volume(card);
  add_log(volume);
  card.unreadable = {kReserved + 500 / 128, kReserved + 700 / 128};
  CHECK(card.find().outcome() == ExtentOutcome::found);
  card.unreadable.insert(kReserved + kFatSectors + 700 / 128);
  CHECK(card.find().outcome() == ExtentOutcome::unreadable);
  card.unreadable = {volume.data(2)};
  CHECK(card.find().outcome() == ExtentOutcome::unreadable);
  card.unreadable = {0};
  CHECK(card.find().outcome() == ExtentOutcome::unreadable);
}

TEST_CASE("log extent: what is no FAT32 card, or has no room") {
  Card card;
  CHECK(card.find().outcome() == ExtentOutcome::no_file_system);
  card.put(0, 510, 0xAA55, 2);
  CHECK(card.find().outcome() == ExtentOutcome::no_file_system);
  card.put(0, 0, 0x9076EB, 3);
  card.text(0, 3, "EXFAT   ");
  CHECK(card.find().outcome() == ExtentOutcome::other_file_system);
  card = {};
  Volume volume(card);
  CHECK(card.find().outcome() == ExtentOutcome::no_log_file);
  add_log(volume);
  card.put(0, 22, 100, 2);  // BPB_FATSz16: FAT16
  CHECK(card.find().outcome() == ExtentOutcome::other_file_system);
  card.put(0, 22, 0, 2);
  card.put(0, 36, 10, 4);  // a FAT too short for its clusters
  CHECK(card.find().outcome() == ExtentOutcome::bad_file_system);
  card.put(0, 36, kFatSectors, 4);
  volume.entry(2, 0, kLogDirectoryName, 500, 63 * 512);
  CHECK(card.find().outcome() == ExtentOutcome::too_small);
  volume.entry(2, 0, kLogDirectoryName, 500, 0xFFFFFFFF);
  CHECK(card.find().outcome() == ExtentOutcome::bad_file_system);
  volume.entry(2, 0, kLogDirectoryName, 0, kLogBytes);
  CHECK(card.find().outcome() == ExtentOutcome::bad_file_system);
  add_log(volume);
  REQUIRE(card.find().outcome() == ExtentOutcome::found);
  card.sectors = volume.data(500) + kLogBytes / 512;
  CHECK(card.find().outcome() == ExtentOutcome::found);
  --card.sectors;
  CHECK(card.find().outcome() == ExtentOutcome::beyond_card);
  CHECK(LogExtentSearch(0).finished());
}

// No source: whatever a card says, the search ends and stays on the card.
TEST_CASE("log extent: any bytes in boot sector, directory and FAT") {
  constexpr unsigned kSeed = 20;
  CAPTURE(kSeed);
  std::mt19937 random(kSeed);
  for (int round = 0; round < 3000; ++round) {
    Card card;
    Volume volume(card);
    add_log(volume);
    for (int flips = 1 + static_cast<int>(random() % 4); flips > 0; --flips) {
      auto at = card.sector.begin();
      std::advance(at, static_cast<long>(random() % card.sector.size()));
      at->second[random() % 64] = static_cast<std::uint8_t>(random());
    }
    const auto search = card.find();
    if (search.outcome() != ExtentOutcome::found) continue;
    CHECK(std::uint64_t{search.extent().first_sector} + search.extent().sectors <= card.sectors);
    CHECK(ring_sectors_of(search.extent().sectors) > 0);
  }
}
