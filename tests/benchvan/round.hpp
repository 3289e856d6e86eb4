// Made-up delivery rounds: speed over time as micro-trips of trapezoids, from a
// seed; no recorded drive is used.
//
// Output  speed_kmh each kRoundStepS, beginning and ending at a standstill.
#pragma once
#include <vector>

#include "benchvan/generator.hpp"
#include "benchvan/pack_model.hpp"
#include "benchvan/track.hpp"

namespace packmile::benchvan {

// The model's step: five of them between two polls at 2 Hz, and fine enough
// that a straight line of speed between steps is a fair one.
inline constexpr double kRoundStepS = 0.1;
// The step while charging, where nothing changes fast.
inline constexpr double kChargeStepS = 1.0;

struct RoundShape {
  int drops = 40;           // customers served
  double stem_min_s = 500;  // from the depot to the first customer, least and most
  double stem_max_s = 1100;
  double dwell_min_s = 60;  // at a customer; always shorter than what ends a trip
  double dwell_max_s = 240;
  double briskness = 1;  // of accelerations, of the usual ones
  double haste = 1;      // of cruising speeds, of the usual ones
};

[[nodiscard]] std::vector<double> make_round(Generator& generator, const RoundShape& shape);

// Drives the round with the van: a track of all quantities, the odometer from
// `odometer_km` on. `stand_before_s` and `stand_after_s`: awake at a standstill.
[[nodiscard]] Track drive_round(const std::vector<double>& speed_kmh, const VanBody& body,
                                PackModel& pack, double ambient_c, double odometer_km,
                                double stand_before_s, double stand_after_s);

struct ChargeShape {
  double power_kw = 6.6;  // into the pack, before the taper
  double until_pct = 99;
  double taper_from_pct = 94;  // then the power falls with the room left
  double balance_s = 0;        // a full pack goes on so long, for its balance
};

// Charges the standing van: constant power, then a taper, until `until_pct`;
// awake at rest `stand_before_s` before and `stand_after_s` after.
[[nodiscard]] Track charge_at_power(PackModel& pack, const ChargeShape& shape, double ambient_c,
                                    double odometer_km, double stand_before_s,
                                    double stand_after_s);

}  // namespace packmile::benchvan
