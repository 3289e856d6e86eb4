#include "energy/driving.hpp"

#include <doctest/doctest.h>

#include "host/energy/van_scene.hpp"

namespace packmile {

using namespace testing;

namespace {

Episode with_speeds(const std::vector<std::pair<std::int64_t, std::uint32_t>>& at_s_kmh) {
  Episode episode;
  for (const auto& [at_s, kmh] : at_s_kmh) {
    episode.speed.time_ms.push_back(at_s * 1000);
    episode.speed.raw.push_back(kmh);
  }
  return episode;
}

}  // namespace

// By hand: 0-40-40-0 km/h, 10 s each: 5 + 10 + 5 s of moving time and
// 200 + 400 + 200 km/h s; after 10 s of standing 20 km/h the same way.
TEST_CASE("driving: mean speed while moving, and stops") {
  const Episode episode =
      with_speeds({{0, 0}, {10, 40}, {20, 40}, {30, 0}, {40, 0}, {50, 20}, {60, 20}, {70, 0}});
  const auto driving = driving_of(episode, {0, 70'000}, {});
  REQUIRE(driving);
  CHECK(driving->moving_kmh == doctest::Approx((800.0 + 400) / 40));
  CHECK(driving->stops == 2);
  // A speed that reads a ninth too much, as the odometer told.
  EnergyRules rules;
  rules.km_per_speed_km = 0.9;
  CHECK(driving_of(episode, {0, 70'000}, rules)->moving_kmh == doctest::Approx(27));
}

TEST_CASE("driving: creeping is no stop, and a drive that ends moving has none") {
  const Episode queue = with_speeds(
      {{0, 0}, {5, 30}, {10, 0}, {12, 1}, {14, 0}, {16, 2}, {18, 0}, {20, 3}, {22, 0}, {24, 9}});
  CHECK(driving_of(queue, {0, 24'000}, {})->stops == 2);
}

TEST_CASE("driving: refused where a tenth of the movement was not answered") {
  std::vector<std::pair<std::int64_t, std::uint32_t>> speeds;
  for (int s = 0; s <= 400; s += 5) speeds.emplace_back(s, s == 0 || s == 400 ? 0 : 50);
  CHECK(driving_of(with_speeds(speeds), {0, 400'000}, {})->stops == 1);
  std::erase_if(speeds, [](const auto& at) { return at.first > 100 && at.first < 150; });
  CHECK_FALSE(driving_of(with_speeds(speeds), {0, 400'000}, {}));
  CHECK_FALSE(driving_of(Episode{}, {0, 400'000}, {}));
  CHECK_FALSE(driving_of(with_speeds({{0, 0}, {5, 0}}), {0, 5'000}, {}));
}

// A speed that stays 0 while the odometer moves is no answer.
TEST_CASE("driving: a stuck speed tells nothing") {
  Episode episode = with_speeds({{0, 0}, {5, 0}, {10, 0}});
  episode.odometer.time_ms = {0, 10'000};
  episode.odometer.raw = {100, 109};
  CHECK_FALSE(driving_of(episode, {0, 10'000}, {}));
}

TEST_CASE("driving: a trip has it, its standing ends do not count") {
  Scene scene;
  scene.stretch(200, 0, 0.4).stretch(300, 50, 12).stretch(60, 0, 0.4).stretch(300, 30, 7);
  scene.stretch(200, 0, 0.4);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.trips.size() == 1);
  REQUIRE(figures.trips[0].moving_kmh);
  CHECK(*figures.trips[0].moving_kmh == doctest::Approx(40).epsilon(0.01));
  CHECK(*figures.trips[0].stops == 2);
  Scene silent;
  silent.speed = false;
  silent.stretch(200, 0, 0.4).stretch(600, 50, 12).stretch(200, 0, 0.4);
  for (const Trip& trip : account_of({silent.take()}).trips) CHECK_FALSE(trip.moving_kmh);
}

}  // namespace packmile
