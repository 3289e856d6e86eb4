// Which measurements belong to the tyre that is on a wheel now.
//
// Input     measurements by wheel, rotations, and fittings of new tyres.
// Output    for each wheel its tyre's measurements, wherever it was on the van.
// Rule      moves of one day happen at once: front left to rear left and rear
//           left to front left is a swap. Of two that take a tyre from one wheel, or
//           bring one to it, the last one holds. A tyre that another one takes the
//           place of leaves the van. A rise (wear.hpp) is a new tyre. Axles wear
//           tyres at rates of their own: a tyre that came from the other one wears
//           anew from then on.
//           On a day with both, tyres are measured before they are moved, unless
//           the day's measurements fit the tyres' last ones better afterwards; and
//           before others are fitted, unless that measurement would be a rise.
#pragma once
#include <array>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "duty/wear.hpp"
#include "notes/positions.hpp"

namespace packmile {

struct WheelReading {
  Wheel wheel = Wheel::front_left;
  DepthReading reading;
};
struct WheelMove {
  LocalDay day;
  Wheel from = Wheel::front_left;
  Wheel to = Wheel::front_left;
  std::optional<double> km{};  // odometer of the day; absent: not known
  std::uint32_t id = 0;        // of its note: the order within a day
};
// New tyres on these wheels.
struct WheelFitting {
  LocalDay day;
  std::vector<Wheel> wheels;
};

struct TyreOnWheel {
  std::vector<DepthReading> readings;  // in order of days
  // Since when it is on the van, where it is known: fitted, or seen first by a rise.
  std::optional<LocalDay> fitted;
  // Seen by a rise alone: when the tyre before it was measured last. It was fitted
  // between the two.
  std::optional<LocalDay> not_before{};
  bool from_start = false;            // no note tells of another tyre before it on the van
  std::vector<WearBorder> borders{};  // when it came from the other axle
  // Wheels that it was on, the present one last.
  std::vector<Wheel> been_on;
};

// In order of kWheels. What each list holds may come in any order.
[[nodiscard]] std::array<TyreOnWheel, kWheels.size()> tyres_now(
    std::span<const WheelReading> readings, std::span<const WheelMove> moves,
    std::span<const WheelFitting> fittings);

}  // namespace packmile
