// A tyre's measurements go with it from wheel to wheel.
#include "duty/tyre_history.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <random>
#include <vector>

namespace packmile::testing {
namespace {

using enum Wheel;

constexpr LocalDay tyre_day(int n) { return LocalDay{std::chrono::days{20'000 + n}}; }

WheelReading at(Wheel wheel, int n, double depth, std::uint32_t id = 0) {
  return {wheel, {id, tyre_day(n), 100.0 * n, depth, 0.25, 0.1}};
}

std::vector<double> depths(const TyreOnWheel& tyre) {
  std::vector<double> out;
  for (const DepthReading& reading : tyre.readings) out.push_back(reading.depth_mm);
  return out;
}

const TyreOnWheel& on(const std::array<TyreOnWheel, 4>& tyres, Wheel wheel) {
  return tyres[static_cast<std::size_t>(wheel)];
}

}  // namespace

TEST_CASE("Two moves of one day are a swap") {
  const std::vector readings{at(front_left, 0, 6.0), at(rear_left, 0, 7.5), at(front_left, 60, 7.0),
                             at(rear_left, 60, 5.0)};
  const std::vector<WheelMove> moves{{tyre_day(30), front_left, rear_left},
                                     {tyre_day(30), rear_left, front_left}};
  const auto tyres = tyres_now(readings, moves, {});
  CHECK(depths(on(tyres, front_left)) == std::vector{7.5, 7.0});
  CHECK(depths(on(tyres, rear_left)) == std::vector{6.0, 5.0});
  CHECK(on(tyres, rear_left).been_on == std::vector{front_left, rear_left});
  CHECK_FALSE(on(tyres, rear_left).fitted);
}

TEST_CASE("A tyre that another one takes the place of leaves the van") {
  const std::vector readings{at(front_left, 0, 3.0), at(rear_left, 0, 6.0)};
  const std::vector<WheelMove> moves{{tyre_day(30), rear_left, front_left}};
  const auto tyres = tyres_now(readings, moves, {});
  CHECK(depths(on(tyres, front_left)) == std::vector{6.0});
  CHECK(on(tyres, rear_left).readings.empty());
}

TEST_CASE("A fitting and a rise begin anew") {
  const std::vector readings{at(front_left, 0, 3.0), at(front_left, 40, 8.0),
                             at(front_right, 0, 3.1), at(front_right, 41, 8.1),
                             at(front_right, 60, 7.8)};
  const std::vector<WheelFitting> fittings{{tyre_day(30), {front_left}}};
  const auto tyres = tyres_now(readings, {}, fittings);
  CHECK(depths(on(tyres, front_left)) == std::vector{8.0});
  CHECK(on(tyres, front_left).fitted == tyre_day(30));
  CHECK(depths(on(tyres, front_right)) == std::vector{8.1, 7.8});
  CHECK(on(tyres, front_right).fitted == tyre_day(41));
}

TEST_CASE("What is measured on the day of the work belongs to the tyre it fits") {
  // Measured before the swap at the old wheels, and after a fitting at the new tyre.
  const std::vector readings{at(front_left, 0, 6.0), at(front_left, 30, 5.0),
                             at(front_right, 30, 8.0), at(rear_right, 0, 3.0),
                             at(rear_right, 30, 8.2)};
  const std::vector<WheelMove> moves{{tyre_day(30), front_left, rear_left},
                                     {tyre_day(30), rear_left, front_left}};
  const std::vector<WheelFitting> fittings{{tyre_day(30), {front_right, rear_right}}};
  const auto tyres = tyres_now(readings, moves, fittings);
  CHECK(depths(on(tyres, rear_left)) == std::vector{6.0, 5.0});
  CHECK(depths(on(tyres, front_right)) == std::vector{8.0});
  CHECK(depths(on(tyres, rear_right)) == std::vector{8.2});
}

TEST_CASE("The order in which notes come does not matter") {
  std::vector readings{at(front_left, 0, 6.0, 1), at(rear_left, 0, 7.5, 2),
                       at(front_left, 60, 7.0, 5), at(rear_left, 60, 5.0, 6),
                       at(front_left, 90, 8.4, 7)};
  std::vector<WheelMove> moves{{tyre_day(30), front_left, rear_left},
                               {tyre_day(30), rear_left, front_left},
                               {tyre_day(70), rear_left, rear_right}};
  const auto first = tyres_now(readings, moves, {});
  std::mt19937 random{5};
  for (int round = 0; round < 20; ++round) {
    std::ranges::shuffle(readings, random);
    std::ranges::shuffle(moves, random);
    const auto again = tyres_now(readings, moves, {});
    for (const Wheel wheel : kWheels) {
      CHECK(depths(on(again, wheel)) == depths(on(first, wheel)));
      CHECK(on(again, wheel).fitted == on(first, wheel).fitted);
      CHECK(on(again, wheel).been_on == on(first, wheel).been_on);
    }
  }
}

// Four tyres go around, as a rotation crosses them.
TEST_CASE("A cycle of four moves takes each tyre's past to its next wheel") {
  const std::vector readings{at(front_left, 0, 6.0), at(front_right, 0, 6.2), at(rear_left, 0, 8.0),
                             at(rear_right, 0, 8.3)};
  const std::vector<WheelMove> moves{{tyre_day(30), front_left, rear_left, 3'000.0, 5},
                                     {tyre_day(30), rear_left, front_right, 3'000.0, 6},
                                     {tyre_day(30), front_right, rear_right, 3'000.0, 7},
                                     {tyre_day(30), rear_right, front_left, 3'000.0, 8}};
  const auto tyres = tyres_now(readings, moves, {});
  CHECK(depths(on(tyres, rear_left)) == std::vector{6.0});
  CHECK(depths(on(tyres, front_right)) == std::vector{8.0});
  CHECK(depths(on(tyres, rear_right)) == std::vector{6.2});
  CHECK(depths(on(tyres, front_left)) == std::vector{8.3});
  for (const Wheel wheel : kWheels) {
    REQUIRE(on(tyres, wheel).borders.size() == 1);
    CHECK(on(tyres, wheel).borders[0].day == tyre_day(30));
    CHECK(on(tyres, wheel).borders[0].readings == 1);
    CHECK(*on(tyres, wheel).borders[0].km == 3'000);
    CHECK(on(tyres, wheel).from_start);
  }
  // Back again: two borders, and the past is whole.
  std::vector<WheelMove> back = moves;
  for (const WheelMove& move : moves)
    back.push_back({tyre_day(60), move.to, move.from, 6'000.0, move.id + 10});
  const auto home = tyres_now(readings, back, {});
  CHECK(depths(on(home, front_left)) == std::vector{6.0});
  CHECK(on(home, front_left).borders.size() == 2);
  CHECK(on(home, front_left).been_on == std::vector{front_left, rear_left, front_left});
}

TEST_CASE("A chain moves at once, whatever its order, and its last tyre leaves the van") {
  const std::vector readings{at(front_left, 0, 6.0), at(rear_left, 0, 7.0), at(rear_right, 0, 8.0)};
  std::vector<WheelMove> moves{{tyre_day(9), front_left, rear_left},
                               {tyre_day(9), rear_left, rear_right}};
  for (int round = 0; round < 2; ++round) {
    const auto tyres = tyres_now(readings, moves, {});
    CHECK(depths(on(tyres, rear_left)) == std::vector{6.0});
    CHECK(depths(on(tyres, rear_right)) == std::vector{7.0});
    CHECK(on(tyres, front_left).readings.empty());
    CHECK_FALSE(on(tyres, front_left).from_start);
    // Along an axle no other wear begins.
    CHECK(on(tyres, rear_right).borders.empty());
    std::ranges::reverse(moves);
  }
}

TEST_CASE("No tyre is at two wheels, and no wheel has two") {
  const std::vector readings{at(front_left, 0, 6.0), at(front_right, 0, 7.0)};
  const auto twice_from =
      tyres_now(readings,
                std::vector<WheelMove>{{tyre_day(9), front_left, rear_left, {}, 1},
                                       {tyre_day(9), front_left, rear_right, {}, 2}},
                {});
  CHECK(on(twice_from, rear_left).readings.empty());
  CHECK(depths(on(twice_from, rear_right)) == std::vector{6.0});
  const auto twice_to =
      tyres_now(readings,
                std::vector<WheelMove>{{tyre_day(9), front_right, rear_left, {}, 4},
                                       {tyre_day(9), front_left, rear_left, {}, 3}},
                {});
  CHECK(depths(on(twice_to, rear_left)) == std::vector{7.0});
}

TEST_CASE("Measured after a swap of the same day, also where one of the two is thinner") {
  const std::vector readings{at(front_left, 0, 6.0, 1), at(rear_left, 0, 7.5, 2),
                             at(front_left, 30, 7.4, 3), at(rear_left, 30, 5.9, 4)};
  const std::vector<WheelMove> moves{{tyre_day(30), front_left, rear_left},
                                     {tyre_day(30), rear_left, front_left}};
  const auto tyres = tyres_now(readings, moves, {});
  CHECK(depths(on(tyres, front_left)) == std::vector{7.5, 7.4});
  CHECK(depths(on(tyres, rear_left)) == std::vector{6.0, 5.9});
  CHECK_FALSE(on(tyres, front_left).fitted);
  CHECK(on(tyres, front_left).borders[0].readings == 1);
}

TEST_CASE("A rise says between which days the tyre was fitted") {
  const auto tyres =
      tyres_now(std::vector{at(front_left, 3, 3.0), at(front_left, 40, 8.0)}, {}, {});
  CHECK(*on(tyres, front_left).fitted == tyre_day(40));
  CHECK(*on(tyres, front_left).not_before == tyre_day(3));
}

}  // namespace packmile::testing
