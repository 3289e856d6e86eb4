// The share of braking that went into the friction brakes, from a kinetic balance.
//
// Input     speed and pack power of drives.
// Output    a range, for a trend and for one van against another alone.
// Sign      pack_kw is positive out of the pack.
// Method    of the kinetic energy that a fall of speed sets free, rolling and air
//           take a part whatever the driver does; what the pack took is known;
//           the rest went into the pads. Falls below 3 km/h are chatter. Mass,
//           rolling, air and the way from wheel to pack are drawn 500 times from
//           their ranges, with one seed.
// Assumes   a level road: going downhill the pack takes energy that no fall of
//           speed set free. It evens out over a month, never over a trip.
// Never     a thickness of anything: pads are measured (wear.hpp).
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "figure.hpp"

namespace packmile {

// Of one van over any time; they add up.
struct FallSums {
  double kinetic_j_per_kg = 0;  // sum of (v1^2 - v2^2) / 2
  double rolled_m = 0;          // way during falls
  double drag_m3_per_s2 = 0;    // integral of v^3 during falls
  double regen_kwh = 0;         // into the pack beyond what stood at rest
  double fall_s = 0;
  double seen_s = 0;  // of the falls, with pack power known

  FallSums& operator+=(const FallSums& other);
};

struct DriveSample {
  double time_s = 0;
  double speed_kmh = 0;
  std::optional<double> pack_kw;
};

// One trip, in order of time. A step longer than kLongestFallStepS ends a fall.
inline constexpr double kLongestFallStepS = 2.5;
[[nodiscard]] FallSums sum_falls(std::span<const DriveSample> trip);

// E = m v^2 / 2
[[nodiscard]] double kinetic_kwh(double mass_kg, double speed_kmh);

struct FrictionRules {
  double mass_u = 0.15;        // half-width, relative: the load is not known
  double rolling_low = 0.008;  // all ranges here are judgments, no source
  double rolling_high = 0.013;
  double drag_area_low_m2 = 1.5;
  double drag_area_high_m2 = 2.3;
  double regen_low = 0.65;  // from the wheels to the pack
  double regen_high = 0.85;
  double rotating = 1.03;  // what turns with the wheels, as mass
};

// In words, for whoever reads the share.
[[nodiscard]] std::string friction_assumes(const FrictionRules& rules = {});

// 0..1. mass_kg: the empty van and half its payload. Refuses below 0.5 kWh of
// falls, and where less than 0.9 of their time was seen.
[[nodiscard]] MaybeFigure friction_share(const FallSums& falls, double mass_kg,
                                         const FrictionRules& rules = {});

}  // namespace packmile
