// Which measurements belong to the tyre that is on a wheel now.
//
// Input     measurements by wheel, rotations, and fittings of new tyres.
// Output    for each wheel its tyre's measurements, wherever it was on the van.
// Rule      moves of one day happen at once: front left to rear left and rear
//           left to front left is a swap. A tyre that another one takes the place
//           of leaves the van. A rise of more than kNewStartRiseMm is a new tyre.
//           On a day with both, tyres are measured where they were before it was
//           moved, unless that measurement would be a rise.
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
  // Wheels that it was on, the present one last.
  std::vector<Wheel> been_on;
};

// In order of kWheels. What each list holds may come in any order.
[[nodiscard]] std::array<TyreOnWheel, kWheels.size()> tyres_now(
    std::span<const WheelReading> readings, std::span<const WheelMove> moves,
    std::span<const WheelFitting> fittings);

}  // namespace packmile
