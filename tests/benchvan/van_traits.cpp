#include "benchvan/van_traits.hpp"

#include <algorithm>

#include "benchvan/generator.hpp"

namespace packmile::benchvan {
namespace {

// Of a sine: with what is left of rest_error_pct after a third of each rest is taken
// (0.45 points), a controller is wrong by a point at rest, 1 sd.
constexpr double kTableErrorPct = 1.27;
// Of a sine: 0.05 A.
constexpr double kWanderA = 0.07;

// Nobody builds what is more than three sd off.
double drawn(Generator& generator, double sd) {
  return sd * std::clamp(generator.normal(), -3.0, 3.0);
}

}  // namespace

VanBody body_of(const VanTraits& traits) {
  VanBody body;
  body.rolling *= traits.rolling;
  return body;
}

VanTraits draw_traits(const Mechanisms& mechanisms, std::uint64_t seed) {
  VanTraits traits{.mechanisms = mechanisms};
  // Everything is drawn in any case, so that one mechanism more or less leaves
  // the rest of the van as it was.
  Generator generator(seed ^ 0x7261697473u);
  const double offset_a = drawn(generator, 0.3);
  const double gain = drawn(generator, 0.006);
  const double voltage_gain = drawn(generator, 0.003);
  const double usable = drawn(generator, 0.05);
  const double ac_efficiency = generator.between(0.90, 0.95);
  const double ac_own_kw = generator.between(0.1, 0.3);
  const double dc_efficiency = generator.between(0.985, 1.0);
  const double dc_own_kw = generator.between(0.1, 0.5);
  const double tyres = drawn(generator, 0.015);
  const double speed = drawn(generator, 0.03);
  const double step = generator.share();
  const double believed = drawn(generator, 0.01);
  const double own_offset_a = drawn(generator, 0.05);
  const double own_gain = drawn(generator, 0.003);
  const double by_age_pct = generator.between(1.0, 3.0);
  const double by_cycle_pct = generator.between(0.008, 0.02);
  const double briskness = generator.between(0.8, 1.2);
  const double customers = generator.between(0.75, 1.1);
  const double resistance = generator.between(0.85, 1.2);
  const double table_pct = drawn(generator, kTableErrorPct);
  const double table_phase = generator.share();
  const double wander_a = drawn(generator, kWanderA);
  const double wander_phase = generator.share();

  if (mechanisms.offset) {
    traits.offset_a = offset_a;
    traits.offset_wander_a = wander_a;
    traits.offset_wander_phase = wander_phase;
  }
  if (mechanisms.gain) {
    traits.gain = gain;
    traits.voltage_gain = voltage_gain;
  }
  if (mechanisms.usable_ah) traits.pack.capacity_ah *= 1 + usable;
  if (mechanisms.charger) {
    traits.ac_efficiency = ac_efficiency;
    traits.ac_own_kw = ac_own_kw;
    traits.dc_efficiency = dc_efficiency;
    traits.dc_own_kw = dc_own_kw;
  }
  if (mechanisms.odometer_scale) {
    traits.odometer_scale = tyres;
    traits.speed_scale = tyres + speed;
  }
  if (mechanisms.soc_step) traits.soc_step_pct = step < 0.5 ? 0 : step < 0.75 ? 0.5 : 1;
  if (mechanisms.fade) {
    traits.fade_pct_per_year = by_age_pct;
    traits.fade_pct_per_cycle = by_cycle_pct;
  }
  if (mechanisms.driver) {
    traits.briskness = briskness;
    traits.customers = customers;
  }
  if (mechanisms.polarisation) {
    traits.pack.resistance_factor = resistance;
    traits.pack.slow_share = 0.6;
  }
  if (mechanisms.weather) traits.pack.has_temperature = true;
  if (mechanisms.dc_charges) {
    traits.dc_share = 1.0 / 3;
    traits.dc_night_share = 0.2;
  }
  if (mechanisms.believes_160_of_140) traits.pack.capacity_ah = 140;
  traits.believed_ah = traits.pack.capacity_ah;
  if (mechanisms.controller) {
    traits.believed_ah *= 1 + believed;
    traits.own_offset_a = own_offset_a;
    traits.own_gain = own_gain;
    traits.rest_error_pct = 1.0;
    traits.table_error_pct = table_pct;
    traits.table_phase = table_phase;
  }
  if (mechanisms.believes_160_of_140) traits.believed_ah = 160;
  if (mechanisms.relearn) traits.relearnt_ah = 0.95 * traits.believed_ah;
  if (mechanisms.soc_jump) traits.jump_pct = -6;
  if (mechanisms.gain_drift) traits.gain_per_c = 0.0005;
  if (mechanisms.offset_drift) traits.offset_swing_a = 0.3;
  if (mechanisms.v_lag) traits.voltage_lag_s = 0.6;
  if (mechanisms.soc_slew) traits.soc_slew_pct_per_s = 0.25 / 60;
  return traits;
}

}  // namespace packmile::benchvan
