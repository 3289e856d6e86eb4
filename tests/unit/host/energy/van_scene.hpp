// A van's day by hand: stretches of constant speed and power at 200 V, rows
// every second, power changing at once (two rows with one stamp).
#pragma once
#include <vector>
#include <algorithm>
#include <cmath>
#include <cstdint>

#include "energy/van_account.hpp"
#include "host/reading/replay.hpp"

namespace packmile::testing {

struct Scene {
  std::int64_t now_ms = kReplayStartMs;
  double km = 1'000;      // odometer
  double soc_code = 150;  // falls with the energy given
  double code_kwh = 0.2;
  bool pack = true, speed = true, soc = true, odometer = true;
  std::uint32_t period_ms = 1000;
  Episode episode;

  // power_kw positive = discharge.
  Scene& stretch(int seconds, double kmh, double power_kw) {
    for (int s = 0; s <= seconds; s += static_cast<int>(period_ms / 1000)) {
      const std::int64_t t = now_ms + s * 1000;
      if (pack) add_pack_row(episode, t, 200, power_kw * 1000 / 200, period_ms);
      const bool repeats_stamp =
          s == 0 && !episode.speed.time_ms.empty() && episode.speed.time_ms.back() == t;
      if (speed && !repeats_stamp) {
        add_sample(episode.speed, t, static_cast<std::uint32_t>(std::lround(kmh)));
      }
      if (s % 5 == 0) {
        const double codes = soc_code - power_kw * s / 3600 / code_kwh;
        if (soc) add_sample(episode.soc, t, static_cast<std::uint32_t>(std::lround(codes)));
        if (odometer) {
          add_sample(episode.odometer, t,
                     static_cast<std::uint32_t>(std::floor((km + kmh * s / 3600) * 10 + 1e-6)));
        }
      }
    }
    now_ms += seconds * 1000;
    km += kmh * seconds / 3600;
    soc_code -= power_kw * seconds / 3600 / code_kwh;
    return *this;
  }
  Scene& silence(int seconds) {
    now_ms += seconds * 1000LL;
    return *this;
  }
  // Ends the episode and starts the next one.
  Episode take() {
    close_episode(episode);
    Episode done = std::move(episode);
    episode = {};
    return done;
  }
};

inline VanFigures account_of(const std::vector<Episode>& episodes, const VanFacts& facts = {},
                             const PackReading& reading = agreed_reading(),
                             const EnergyRules& rules = {}) {
  VanAccount account{facts, {reading}, rules};
  for (const Episode& episode : episodes) account.add(episode);
  return account.finish();
}

// Of the figures that a scene gives.
inline double seconds(UtcTime from, UtcTime to) {
  return static_cast<double>((to - from).count()) / 1e3;
}
inline double since_start(UtcTime t) {
  return static_cast<double>(t.time_since_epoch().count() - kReplayStartMs) / 1e3;
}
inline bool has(const std::vector<Finding>& findings, Finding finding) {
  return std::find(findings.begin(), findings.end(), finding) != findings.end();
}

inline VanFacts nominal(double kwh) {
  VanFacts facts;
  facts.nominal_kwh = kwh;
  return facts;
}

inline VanFacts rated(double kw) {
  VanFacts facts;
  facts.onboard_charger_kw = kw;
  return facts;
}

}  // namespace packmile::testing
