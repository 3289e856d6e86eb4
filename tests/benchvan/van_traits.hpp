// What one made-up van is, drawn from its seed: its pack, sensors, charger and
// driver. Without mechanisms: as on paper.
//
// Source  the distributions are those that the decoder's intervals state: one sd of
//         each, or the half-width of a rectangle. What no interval states is common
//         practice, no source.
#pragma once
#include <cstdint>

#include "benchvan/mechanisms.hpp"
#include "benchvan/pack_model.hpp"

namespace packmile::benchvan {

struct VanTraits {
  Mechanisms mechanisms{};

  PackTraits pack{};
  double fade_pct_per_year = 0;
  double fade_pct_per_cycle = 0;  // a full cycle: the capacity once out

  // The sensor behind the answers: shown = (1 + gain) * current + offset.
  double offset_a = 0;
  double gain = 0;
  double voltage_gain = 0;
  double gain_per_c = 0;       // for each degree below 20 of the pack
  double offset_swing_a = 0;   // over kOffsetSwingDays
  double offset_wander_a = 0;  // times sin(2 pi (day / kOffsetWanderDays + phase))
  double offset_wander_phase = 0;
  double odometer_scale = 0;      // shown = (1 + scale) * driven
  double speed_scale = 0;         // the same of the speed
  double voltage_lag_s = 0;       // shown so much later than the current
  double soc_step_pct = 0;        // 0: as fine as the answer's code
  double soc_slew_pct_per_s = 0;  // 0: no limit

  // The controller's own count.
  double believed_ah = kNominalAh;
  double own_offset_a = 0;
  double own_gain = 0;
  double rest_error_pct = 0;  // sd of what it makes of a rest's voltage
  // Its table of that voltage is wrong by this much times sin(2 pi (charge + phase)), the
  // charge as a share of the pack.
  double table_error_pct = 0;
  double table_phase = 0;
  double relearnt_ah = 0;  // from mid-month on; 0: as before
  double jump_pct = 0;     // in mid-month

  // grid = (into the pack + own use * hours) / efficiency.
  double ac_supply_kw = 7.2;
  double ac_efficiency = 0.925;
  double ac_own_kw = 0.2;
  double dc_efficiency = 0.9925;
  double dc_own_kw = 0.3;
  double dc_supply_kw = 50;
  double dc_share = 0;            // of the middays
  double dc_night_share = 0;      // of the nights
  bool dc_night_at_post = false;  // away from the yard

  double briskness = 1;  // of accelerations
  double haste = 1;      // of cruising speeds
  double customers = 1;  // of the usual number
  double rolling = 1;    // of the usual rolling resistance: a brake drags, tyres are soft
};

inline constexpr double kOffsetSwingDays = 9;
inline constexpr double kOffsetWanderDays = 1.7;

[[nodiscard]] VanBody body_of(const VanTraits& traits);
[[nodiscard]] VanTraits draw_traits(const Mechanisms& mechanisms, std::uint64_t seed);

}  // namespace packmile::benchvan
