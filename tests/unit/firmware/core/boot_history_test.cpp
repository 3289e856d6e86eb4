// A logger that is reset again and again only listens: told from its own card.
#include "core/boot_history.hpp"

#include <doctest/doctest.h>

#include "fake_van.hpp"

using namespace packmile;
using namespace packmile::test;

namespace {

constexpr Tick kMinute = 60'000;

// Boots of so many milliseconds; negative: ended by a stop that was asked for.
// How many requests the boot after them made in its first 5 min.
std::size_t asked_after(const std::vector<std::int64_t>& boots_ms, std::uint32_t log_sectors) {
  FakeVan van(log_sectors);
  van.ecus = plain_van();
  for (const std::int64_t lasted : boots_ms) {
    van.power_up(static_cast<std::uint32_t>(lasted));
    van.plug_adapter();
    van.run_until(static_cast<Tick>(lasted < 0 ? -lasted : lasted));
    if (lasted < 0) van.stop();
  }
  van.power_up(99);
  van.plug_adapter();
  van.run_until(5 * kMinute);
  return van.count_sent(0, van.now(), "t");
}

}  // namespace

TEST_CASE("boot history: the third reset within 10 min, and only that") {
  const std::int64_t minute = 60'000;
  for (const std::uint32_t log_sectors : {32u + 4096, 32u + 128}) {
    CAPTURE(log_sectors);
    CHECK(asked_after({}, log_sectors) > 100);
    CHECK(asked_after({minute}, log_sectors) > 100);
    CHECK(asked_after({minute, minute}, log_sectors) == 0);
    CHECK(asked_after({4 * minute, 4 * minute}, log_sectors) == 0);
    CHECK(asked_after({20 * minute, minute, minute}, log_sectors) == 0);
    CHECK(asked_after({7 * minute, 7 * minute}, log_sectors) > 100);
    CHECK(asked_after({minute, 12 * minute}, log_sectors) > 100);
    CHECK(asked_after({12 * minute, minute}, log_sectors) > 100);
    // The third listens only; it has outlived the window all the same.
    CHECK(asked_after({minute, minute, 12 * minute}, log_sectors) > 100);
    // Stops that were asked for are no resets.
    CHECK(asked_after({-minute, -minute, -minute}, log_sectors) > 100);
    CHECK(asked_after({minute, -minute}, log_sectors) > 100);
    CHECK(asked_after({-minute, minute}, log_sectors) > 100);
  }
}

TEST_CASE("boot history: after an hour the van is asked again, and the card says why it was not") {
  FakeVan van(32 + 4096);
  van.ecus = plain_van();
  for (int boot = 0; boot < 3; ++boot) {
    van.power_up(static_cast<std::uint32_t>(boot));
    van.plug_adapter();
    van.run_until(boot == 2 ? 59 * kMinute : kMinute);
  }
  CHECK(van.count_sent(0, van.now(), "t") == 0);
  CHECK(van.count_sent(0, van.now(), "O") == 0);
  // Not even a sign of life changes that.
  van.logger().on_supply(van.now(), 12'500);
  van.logger().on_supply(van.now(), 14'200);
  van.say(10, "t1238DEADBEEF00000000\r");
  van.run_until(59 * kMinute + 30'000);
  CHECK(van.count_sent(0, van.now(), "t") == 0);
  van.run_until(62 * kMinute);
  CHECK(van.logger().light() == Light::recording);
  CHECK(van.count_sent(0, van.now(), "t") > 100);
  const auto sectors = van.sectors();
  std::size_t told = 0;
  for (const auto& one : sectors) told += one.record.session.listen_only_s == 3'600;
  CHECK(told >= 1);
}

// No source: the ring's contents are anybody's, and the search must end.
TEST_CASE("boot history: a ring of any sectors ends the search") {
  for (std::uint32_t newest = 0; newest < 300; ++newest) {
    BootHistory history(7, 128, newest);
    std::array<std::uint8_t, kSectorBytes> sector{};
    std::uint32_t reads = 0;
    while (const auto place = history.wanted()) {
      REQUIRE(++reads <= 60);
      REQUIRE(*place < 128);
      // Always what was asked for, always of one boot: as a forged card might say.
      sector = {};
      sector[kSectorHeaderBytes] = 0x08;
      sector[kSectorHeaderBytes + 1] = 1;
      std::uint32_t sequence = *place;
      while (sequence + 128 <= newest) sequence += 128;
      seal_sector(sector, {.payload_bytes = 2,
                           .log_id = 7,
                           .boot_id = 1,
                           .sequence = sequence,
                           .ring_sectors = 128});
      history.on_sector(sector);
    }
    CHECK_FALSE(history.reset_too_often());
    BootHistory unreadable(7, 128, newest);
    while (unreadable.wanted()) unreadable.on_unreadable();
    CHECK_FALSE(unreadable.reset_too_often());
  }
  CHECK_FALSE(BootHistory(7, 128, std::nullopt).wanted());
  CHECK_FALSE(BootHistory(7, 0, 5).wanted());
}

TEST_CASE("boot history: how often a van was looked for in vain outlasts the power") {
  FakeVan van(32 + 4096);
  van.ecus = {};
  van.acknowledged = false;
  const auto rounds_of = [&van](Tick until) {
    std::vector<Tick> rounds;  // attempts at both rates
    van.plug_adapter();
    van.run_until(until);
    for (const auto& [tick, line] : van.sent)
      if (line.starts_with("t") && (rounds.empty() || tick - rounds.back() > 8'000))
        rounds.push_back(tick);
    return rounds;
  };
  van.power_up(1);
  const auto first = rounds_of(12 * kMinute);
  REQUIRE(first.size() >= 5);  // 10, 20, 40, 80, 160 s ..
  CHECK(first[1] - first[0] < 20'000);
  const auto told = [&van] { return van.sectors().back().record.session.not_found_in_row; };
  CHECK(told() == first.size());

  // The next boot tries once, and then waits as long as the first would have.
  van.power_up(2);
  const Tick pause = 10'000 << first.size();
  const auto second = rounds_of(pause / 2);
  CHECK(second.size() == 1);
  CHECK(told() == first.size() + 1);
  // After a stop that was asked for, too.
  van.stop();
  van.power_up(3);
  CHECK(rounds_of(pause).size() == 1);
  CHECK(told() == first.size() + 2);

  // A sign of life ends the waiting, and what was found is remembered instead.
  van.ecus = plain_van();
  van.acknowledged = true;
  van.say(10, "t1238DEADBEEF00000000\r");
  van.run_until(van.now() + kMinute);
  CHECK(van.logger().light() == Light::recording);
  van.stop();
  CHECK(told() == 0);
}

TEST_CASE("boot history: as many failed attempts as a card may claim, a day is the longest pause") {
  WakeWatch watch;
  watch.go_on_after(0xFFFFFFFF);
  watch.begin(0, WaitReason::not_found);
  CHECK(watch.next_attempt(0) == kLongestBackOffMs);
  CHECK(watch.not_found_in_row() == kMostNotFound);
}
