// When a van that is not being asked may be asked again.
#include "core/wake_watch.hpp"

#include <doctest/doctest.h>

#include <vector>

using namespace packmile;

namespace {

constexpr Tick kWatchMinute = 60'000;
constexpr Tick kHour = 60 * kWatchMinute;

// Attempts that are never answered, as ticks.
std::vector<Tick> attempts(WakeWatch& watch, Tick from, Tick until) {
  std::vector<Tick> made;
  Tick now = from;
  while (true) {
    const auto due = watch.next_attempt(now);
    if (!due || *due >= until) return made;
    now = *due > now ? *due : now;
    // What was allowed by then may have run out.
    const auto still = watch.next_attempt(now);
    if (!still || *still > now) {
      if (!still || *still >= until) return made;
      continue;
    }
    REQUIRE(made.size() < 100'000);
    made.push_back(now);
    const WaitReason before = watch.reason();
    watch.on_attempt(now);
    watch.begin(now, before == WaitReason::not_found ? before : WaitReason::silent);
  }
}

}  // namespace

TEST_CASE("wake: not found backs off from 10 s, doubling, up to a day") {
  WakeWatch watch;
  watch.begin(0, WaitReason::not_found);
  const auto made = attempts(watch, 0, 40 * 24 * kHour);
  REQUIRE(made.size() > 15);
  CHECK(made[0] == 10'000);
  for (std::size_t i = 1; i < made.size(); ++i) {
    const Tick step = made[i] - made[i - 1];
    const Tick wanted = 10'000ull << i;
    CHECK(step == (wanted < 24 * kHour ? wanted : 24 * kHour));
  }
}

TEST_CASE("wake: silent without a sign of life: four attempts a day at most, 15 min apart") {
  WakeWatch watch;
  watch.begin(0, WaitReason::silent);
  const auto made = attempts(watch, 0, 30 * 24 * kHour);
  REQUIRE(made.size() > 20);
  CHECK(made[0] == 15 * kWatchMinute);
  CHECK(made[1] == 75 * kWatchMinute);
  for (std::size_t i = 1; i < made.size(); ++i) CHECK(made[i] - made[i - 1] >= 15 * kWatchMinute);
  for (std::size_t i = 4; i < made.size(); ++i) CHECK(made[i] - made[i - 4] >= 24 * kHour);
}

TEST_CASE("wake: parked is listened to for 20 min, and the budget counts across reasons") {
  WakeWatch watch;
  Tick now = 0;
  std::vector<Tick> made;
  for (int i = 0; i < 40; ++i) {
    watch.begin(now, WaitReason::parked);
    const auto due = watch.next_attempt(now);
    REQUIRE(due);
    CHECK(*due >= now + 20 * kWatchMinute);
    made.push_back(*due);
    now = *due;
    watch.on_attempt(now);
    CHECK_FALSE(watch.prompted());
    watch.on_answered();  // an answer does not refill the budget
    now += 5 * kWatchMinute;
  }
  for (std::size_t i = 4; i < made.size(); ++i) CHECK(made[i] - made[i - 4] >= 24 * kHour);
}

TEST_CASE("wake: silent with the supply high: after 1, 2, 4, 8, then every 10 s") {
  WakeWatch watch;
  watch.on_supply(0, 14'200);
  watch.begin(0, WaitReason::silent);
  const auto made = attempts(watch, 0, 60'000);
  CHECK(made == std::vector<Tick>{1'000, 3'000, 7'000, 15'000, 25'000, 35'000, 45'000, 55'000});
  // Parked with the supply high is still parked.
  WakeWatch parked;
  parked.on_supply(0, 14'200);
  parked.begin(0, WaitReason::parked);
  CHECK(parked.next_attempt(0) == 20 * kWatchMinute);
}

TEST_CASE("wake: a supply that rises by 0.5 V to 13.2 V wakes at once") {
  for (const WaitReason reason : {WaitReason::not_found, WaitReason::silent, WaitReason::parked}) {
    WakeWatch watch;
    watch.on_supply(0, 12'600);
    watch.begin(0, reason);
    watch.on_supply(5'000, 13'100);  // rises, but not high enough
    CHECK(*watch.next_attempt(5'000) > 5'000);
    watch.on_supply(6'000, 12'600);
    watch.on_supply(9'000, 13'200);
    REQUIRE(watch.next_attempt(9'000));
    CHECK(*watch.next_attempt(9'000) == 9'000);
    watch.on_attempt(9'000);
    CHECK(watch.prompted());
  }
  // High, but no rise of half a volt.
  WakeWatch watch;
  watch.on_supply(0, 12'800);
  watch.begin(0, WaitReason::parked);
  watch.on_supply(1'000, 13'250);
  CHECK(*watch.next_attempt(1'000) == 20 * kWatchMinute);
}

TEST_CASE("wake: traffic after quiet wakes, traffic that goes on does not") {
  WakeWatch watch;
  watch.begin(0, WaitReason::parked);
  for (Tick t = 100; t < 60'000; t += 100) watch.on_traffic(t);  // the van's own afterrun
  CHECK(*watch.next_attempt(60'000) == 20 * kWatchMinute);
  watch.on_traffic(61'899);  // 2 s after the last
  watch.on_traffic(63'898);
  CHECK(*watch.next_attempt(63'898) == 20 * kWatchMinute);
  watch.on_traffic(65'898);
  CHECK(*watch.next_attempt(65'898) == 65'898);
  const auto made = attempts(watch, 65'898, 65'898 + 61'000);
  // At once, then after 1, 2, 4, 8, 10 .. for a minute.
  REQUIRE(made.size() == 9);
  CHECK(made[1] - made[0] == 1'000);
  CHECK(made[4] - made[3] == 8'000);
  CHECK(made[8] - made[7] == 10'000);
}

TEST_CASE("wake: a bus that wakes for nothing is believed ten times, then every 15 min") {
  WakeWatch watch;
  watch.begin(0, WaitReason::not_found);
  std::vector<Tick> made;
  for (Tick t = 3'000; t < 6 * kHour; t += 3'000) {
    watch.on_traffic(t);
    const auto due = watch.next_attempt(t);
    if (!due || *due > t) continue;
    watch.on_attempt(t);
    made.push_back(t);
    watch.begin(t, WaitReason::not_found);
  }
  CHECK(made.size() >= 10 + 20);
  CHECK(made.size() <= 10 + 24 + 12);
}

TEST_CASE("wake: below 12.2 V never") {
  for (const WaitReason reason : {WaitReason::not_found, WaitReason::silent, WaitReason::parked}) {
    WakeWatch watch;
    watch.begin(0, reason);
    watch.on_supply(0, 12'199);
    CHECK(watch.supply_too_low());
    CHECK_FALSE(watch.next_attempt(100 * kHour));
    watch.on_supply(100 * kHour, 12'200);
    CHECK(watch.next_attempt(100 * kHour));
  }
}

TEST_CASE("wake: another tester has the bus for 10 min, whatever shows meanwhile") {
  WakeWatch watch;
  watch.on_supply(0, 12'600);
  watch.begin(0, WaitReason::foreign_tester);
  watch.on_traffic(5'000);
  watch.on_supply(6'000, 14'000);
  CHECK(*watch.next_attempt(6'000) == 10 * kWatchMinute);
}

TEST_CASE("wake: a van that answers nothing of ours is never asked again by the clock") {
  WakeWatch watch;
  watch.on_supply(0, 12'600);
  watch.begin(0, WaitReason::nothing_to_ask);
  watch.on_traffic(5'000);
  watch.on_supply(6'000, 14'000);
  CHECK_FALSE(watch.next_attempt(1'000 * kHour));
}
