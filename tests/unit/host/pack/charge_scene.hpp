// A made-up charge: a pack of known capacity, a charger, and a controller with
// the habits that real ones have.
#pragma once
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <random>

#include "pack/charge_trace.hpp"

namespace packmile::testing {

struct ChargeScene {
  double capacity_ah = 150;
  double believed_ah = 0;  // what the controller counts with; 0: the true one
  double charge_a = 19;
  double soc_from = 0.30;
  double soc_to = 0.65;
  double soc_poll_s = 10;
  double soc_phase_s = 0;
  double row_s = 5;
  double noise_a = 0.15;        // 1 sd
  double amp_step = 0.1;        // of the current's words
  double sensor_a = 0;          // offset of the sensor, positive as discharge
  double step = 0;              // of the controller, share; 0: none
  double answered = 1 / 255.0;  // step of the answers, share
  bool rounds = false;          // its code, instead of cutting down
  double shift = 0;             // constant error of its state of charge
  double hysteresis = 0;        // share that the display waits after the turn
  double stop_at = 1;           // it shows no more than this
  double bend = 0;              // its error grows as bend * (soc - from) * (to - soc)
  double jump_at = 2;           // of the true state of charge: there it adds ..
  double jump = 0;              // .. this, within jump_s
  double jump_s = 0;
  double pause_from_s = -1;  // the charger rests and the van takes 5 A
  double pause_s = 0;
  double silent_from_s = -1;  // no pack words
  double silent_s = 0;
  double volt_0 = 340;  // open circuit at 0 and at 1
  double volt_1 = 400;
  double ohm = 0.09;
  ChargeKind kind = ChargeKind::ac;
  std::int64_t start_ms = 1'767'592'800'000;  // 2026-01-05T06:00:00Z
  double ambient_c = 18;
};

inline double open_volt(const ChargeScene& scene, double soc) {
  return scene.volt_0 + (scene.volt_1 - scene.volt_0) * soc;
}

inline ChargeTrace make_charge(const ChargeScene& scene, std::mt19937& random) {
  std::normal_distribution<double> noise{0, scene.noise_a > 0 ? scene.noise_a : 1};
  ChargeTrace trace;
  trace.kind = scene.kind;
  trace.soc_step_pct = 100 * scene.answered;
  trace.a_step_a = scene.amp_step;
  trace.verdict = CurrentVerdict::agreed;
  trace.ambient_c = scene.ambient_c;
  const double believed = scene.believed_ah > 0 ? scene.believed_ah : scene.capacity_ah;
  const double step_s = 1;
  double ah = 0, next_row_s = 0, next_soc_s = scene.soc_phase_s, jumped = 0;
  bool gap = false;
  for (double t = 0;; t += step_s) {
    const double soc = scene.soc_from + ah / scene.capacity_ah;
    if (soc >= scene.soc_to) break;
    const bool paused = t >= scene.pause_from_s && t < scene.pause_from_s + scene.pause_s;
    const double amps = paused ? -5 : scene.charge_a;
    if (soc >= scene.jump_at && jumped < 1) {
      jumped = scene.jump_s > 0 ? std::min(1.0, jumped + step_s / scene.jump_s) : 1;
    }
    if (t >= next_row_s) {
      const bool silent = t >= scene.silent_from_s && t < scene.silent_from_s + scene.silent_s;
      if (silent) {
        gap = true;
      } else {
        const double read = amps - scene.sensor_a + (scene.noise_a > 0 ? noise(random) : 0);
        trace.push(scene.start_ms + static_cast<std::int64_t>(t * 1000),
                   std::round(read / scene.amp_step) * scene.amp_step,
                   std::round((open_volt(scene, soc) + amps * scene.ohm) * 64) / 64, gap);
        gap = false;
      }
      next_row_s += scene.row_s;
    }
    if (t >= next_soc_s) {
      double shown = scene.soc_from + ah / believed + scene.shift + jumped * scene.jump +
                     scene.bend * (soc - scene.soc_from) * (scene.soc_to - soc);
      if (scene.hysteresis > 0) {
        shown = std::max(std::min(scene.soc_from, shown), shown - scene.hysteresis);
      }
      shown = std::clamp(shown, 0.0, scene.stop_at);
      if (scene.step > 0) shown = std::floor(shown / scene.step + 1e-9) * scene.step;
      trace.soc.time_ms.push_back(scene.start_ms + static_cast<std::int64_t>(t * 1000));
      trace.soc.raw.push_back(
          static_cast<std::uint32_t>(scene.rounds ? std::floor(shown / scene.answered + 0.5 + 1e-9)
                                                  : std::floor(shown / scene.answered + 1e-9)));
      next_soc_s += scene.soc_poll_s;
    }
    ah += amps * step_s / 3600;
  }
  trace.close();
  return trace;
}

}  // namespace packmile::testing
