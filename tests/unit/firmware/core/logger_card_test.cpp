// The logger on a whole FAT32 card, made here field by field from Microsoft's
// "FAT: General Overview of On-Disk Format" 1.03: it writes inside the log file
// and nowhere else.
#include <doctest/doctest.h>

#include <algorithm>

#include "fake_van.hpp"

using namespace packmile;
using namespace packmile::test;

namespace {

constexpr std::uint32_t kLogSectors = 32 + 256;
constexpr std::uint32_t kReserved = 32;
constexpr std::uint32_t kFatSectors = 2;
constexpr std::uint32_t kClusterSectors = 8;
constexpr std::uint32_t kLogCluster = 20;
constexpr std::uint32_t kCardSectors = 1'200;
constexpr std::uint32_t kLogFirst =
    kReserved + 2 * kFatSectors + (kLogCluster - 2) * kClusterSectors;

void put(Bytes& card, std::uint32_t sector, std::size_t offset, std::uint32_t value, int bytes) {
  for (int i = 0; i < bytes; ++i)
    card[std::size_t{sector} * kSectorBytes + offset + static_cast<std::size_t>(i)] =
        static_cast<std::uint8_t>(value >> (8 * i));
}

// A file system around the log of `van`; what is outside the log is filled with
// other files' bytes.
void put_on_volume(FakeVan& van) {
  const Bytes log = van.card;
  REQUIRE(log.size() == std::size_t{kLogSectors} * kSectorBytes);
  Bytes card(std::size_t{kCardSectors} * kSectorBytes, 0x5A);
  std::fill_n(card.begin(), std::size_t{kReserved + 2 * kFatSectors + kClusterSectors} * 512, 0);
  put(card, 0, 0, 0x9058EB, 3);
  put(card, 0, 11, 512, 2);
  put(card, 0, 13, kClusterSectors, 1);
  put(card, 0, 14, kReserved, 2);
  put(card, 0, 16, 2, 1);
  put(card, 0, 32, kCardSectors, 4);
  put(card, 0, 36, kFatSectors, 4);
  put(card, 0, 44, 2, 4);
  put(card, 0, 510, 0xAA55, 2);
  const std::uint32_t clusters = kLogSectors / kClusterSectors;
  for (std::uint32_t copy = 0; copy < 2; ++copy)
    for (std::uint32_t i = 0; i < clusters; ++i)
      put(card, kReserved + copy * kFatSectors, (kLogCluster + i) * 4,
          i + 1 == clusters ? 0x0FFFFFFF : kLogCluster + i + 1, 4);
  const std::uint32_t root = kReserved + 2 * kFatSectors;
  for (std::size_t i = 0; i < 11; ++i)
    put(card, root, i, static_cast<std::uint8_t>(kLogDirectoryName[i]), 1);
  put(card, root, 11, 0x20, 1);
  put(card, root, 26, kLogCluster, 2);
  put(card, root, 28, kLogSectors * 512, 4);
  std::copy(log.begin(), log.end(), card.begin() + std::ptrdiff_t{kLogFirst} * 512);
  van.card = card;
  van.layout = CardLayout::volume;
}

FakeVan van_on_volume() {
  FakeVan van(kLogSectors);
  van.ecus = plain_van();
  put_on_volume(van);
  return van;
}

std::pair<Bytes, Bytes> log_and_rest(const Bytes& card) {
  const auto begin = card.begin() + std::ptrdiff_t{kLogFirst} * 512;
  const auto end = begin + std::ptrdiff_t{kLogSectors} * 512;
  Bytes rest(card.begin(), begin);
  rest.insert(rest.end(), end, card.end());
  return {Bytes(begin, end), rest};
}

}  // namespace

TEST_CASE("logger: on a FAT32 card it writes inside the log file, and nowhere else") {
  FakeVan van = van_on_volume();
  const Bytes before = van.card;
  // Longer than a lap of the ring.
  for (int boot = 0; boot < 12; ++boot) {
    van.power_up(static_cast<std::uint32_t>(boot));
    van.plug_adapter();
    van.run_until(boot == 11 ? 3'000'000 : 120'000);
    CHECK(van.logger().settings_outcome() == SettingsOutcome::taken);
    CHECK(van.logger().extent_outcome() == ExtentOutcome::found);
    van.stop();
  }
  const auto [log, rest] = log_and_rest(van.card);
  const auto [log_before, rest_before] = log_and_rest(before);
  CHECK(rest == rest_before);
  CHECK(std::equal(log.begin(), log.begin() + kHeadSectors * 512, log_before.begin()));
  REQUIRE(van.written.size() > 256);
  const auto [least, most] = std::minmax_element(van.written.begin(), van.written.end());
  CHECK(*least == kLogFirst + kHeadSectors);
  CHECK(*most == kLogFirst + kLogSectors - 1);
}

TEST_CASE("logger: the log of a FAT32 card is that of a log alone, byte for byte") {
  FakeVan card = van_on_volume();
  FakeVan alone(kLogSectors);
  alone.ecus = plain_van();
  // The boot id depends on what was read; the sectors are compared without it.
  for (FakeVan* van : {&card, &alone}) {
    van->power_up();
    van->plug_adapter();
    van->run_until(60'000);
    van->stop();
  }
  card.card = log_and_rest(card.card).first;
  const auto a = card.sectors();
  const auto b = alone.sectors();
  REQUIRE(a.size() == b.size());
  REQUIRE(a.size() > 5);
  for (std::size_t i = 0; i < a.size(); ++i) {
    CHECK(a[i].address == b[i].address);
    CHECK(a[i].header.sequence == b[i].header.sequence);
    CHECK(a[i].header.log_id == b[i].header.log_id);
    const auto payload = [](const FakeVan& van, std::uint32_t address) {
      const auto at = van.card.begin() + std::ptrdiff_t{address} * 512;
      return Bytes(at + kSectorHeaderBytes, at + kSectorCrcOffset);
    };
    CHECK(payload(card, a[i].address) == payload(alone, b[i].address));
  }
}

TEST_CASE("logger: a card whose log is not in one piece is never written") {
  FakeVan van = van_on_volume();
  put(van.card, kReserved, (kLogCluster + 10) * 4, 90, 4);
  const Bytes before = van.card;
  van.power_up();
  van.plug_adapter();
  van.run_until(60'000);
  CHECK(van.logger().extent_outcome() == ExtentOutcome::fragmented);
  CHECK(van.logger().light() == Light::card_trouble);
  van.stop();
  CHECK(van.logger().stopped());
  CHECK(van.written.empty());
  CHECK(van.card == before);
}

TEST_CASE("logger: a card with its first sector destroyed is not taken for a log") {
  FakeVan van = van_on_volume();
  for (std::uint32_t i = 0; i < kSectorBytes; i += 4) put(van.card, 0, i, 0xA5A5A5A5, 4);
  const Bytes before = van.card;
  van.power_up();
  van.plug_adapter();
  van.run_until(60'000);
  CHECK(van.logger().extent_outcome() == ExtentOutcome::no_file_system);
  CHECK(van.card == before);
}

TEST_CASE("logger: a FAT32 card that is put in late is found") {
  FakeVan van = van_on_volume();
  van.fail_reads = -1;
  van.power_up();
  van.plug_adapter();
  van.run_until(60'000);
  CHECK(van.logger().extent_outcome() != ExtentOutcome::found);
  CHECK(van.logger().light() == Light::card_trouble);
  van.fail_reads = 0;
  van.run_until(120'000);
  CHECK(van.logger().extent_outcome() == ExtentOutcome::found);
  CHECK(van.logger().light() == Light::recording);
  CHECK(van.written.size() > 3);
}

TEST_CASE("logger: a whole card that is the log itself needs no file system") {
  FakeVan van(kLogSectors);
  van.ecus = plain_van();
  van.layout = CardLayout::volume;
  van.power_up();
  van.plug_adapter();
  van.run_until(60'000);
  van.stop();
  CHECK(van.logger().settings_outcome() == SettingsOutcome::taken);
  REQUIRE(!van.written.empty());
  CHECK(van.written.front() == kHeadSectors);
}
