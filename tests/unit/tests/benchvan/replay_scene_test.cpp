#include "benchvan/replay_scene.hpp"

#include <doctest/doctest.h>

#include <vector>

#include "benchvan/replay.hpp"

using namespace packmile::benchvan;

namespace {

std::vector<Track> two_files() {
  std::vector<Track> tracks;
  tracks.push_back(parse_replay("time_s,speed_kmh,soc_pct\n5,36,80\n15,36,79\n", "a.csv").track);
  tracks.push_back(parse_replay("time_s,speed_kmh,soc_pct\n0,72,70\n10,72,69\n", "b.csv").track);
  return tracks;
}

constexpr Nanos kS = kNanosPerSecond;

}  // namespace

TEST_CASE("replay scene: the clock of a file starts with the first poll request") {
  ReplayScene scene(two_files(), {.gap_ns = 3600 * kS, .odometer_km = 100});
  CHECK(*scene.show(3 * kS)->get(Quantity::odometer_km) == 100);
  CHECK_FALSE(scene.first_row_ns().has_value());
  scene.on_poll_request(20 * kS);
  CHECK(scene.first_row_ns() == 20 * kS);
  CHECK(*scene.show(25 * kS)->get(Quantity::odometer_km) == doctest::Approx(100.05));
  CHECK(scene.supply_mv(30 * kS) == kSupplyAwakeMv);
  CHECK(scene.show(30 * kS + 1000000) == nullptr);
  CHECK(scene.supply_mv(31 * kS) == kSupplyAsleepMv);
  // The second file: its clock starts by itself 60 s after waking.
  CHECK(scene.next_change_ns() == 3630 * kS);
  CHECK(scene.awake(3630 * kS));
  CHECK(*scene.show(3631 * kS)->get(Quantity::speed_kmh) == 72);
  CHECK(scene.next_change_ns() == 3690 * kS);
  CHECK(*scene.show(3695 * kS)->get(Quantity::odometer_km) == doctest::Approx(100.2));
  CHECK(scene.next_change_ns() == 3700 * kS + 1);
  CHECK_FALSE(scene.awake(3701 * kS));
  CHECK(scene.finished());
  CHECK(scene.next_change_ns() == kNever);
}

TEST_CASE("replay scene: a frozen state of charge stays at the first of all files") {
  ReplayScene scene(two_files(), {.gap_ns = kS, .soc_frozen = true});
  scene.on_poll_request(0);
  CHECK(*scene.show(10 * kS)->get(Quantity::soc_pct) == 80);
  scene.on_poll_request(12 * kS);
  CHECK(*scene.show(22 * kS)->get(Quantity::soc_pct) == 80);
}
