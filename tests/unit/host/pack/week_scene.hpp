// Made-up days of a van as episodes: it drives, rests, charges and rests again.
#pragma once
#include <cstdint>

#include "host/reading/replay.hpp"

namespace packmile::testing {

struct Week {
  double capacity_ah = 150;
  double shown_scale = 1;  // the controller's state of charge moves this much
  double sensor_a = 0;
  double rest_h = 3;
  double hole_s = 0;    // not answered in the middle of each drive
  int sleep_codes = 0;  // what the state of charge loses asleep
  double ohm = 0.09;
  double first_a = 0.4;  // at the first reading
  double volt_shift = 0;

  std::int64_t now_ms = kReplayStartMs;
  double soc = 0.9;
  double shown = 0.9;

  Episode stretch(double amps, double hours, double wave_a = 0) {
    Episode episode;
    const std::int64_t start_ms = now_ms;
    const auto rows = static_cast<std::int64_t>(hours * 3600);
    for (std::int64_t s = 0; s < rows; ++s) {
      const bool idle = s < 60;
      const double now_a = idle ? first_a : amps + wave_a * ((s / 4) % 2 == 0 ? 1.0 : -1.0);
      const bool hole = s > rows / 2 && static_cast<double>(s - rows / 2) < hole_s;
      const std::int64_t t_ms = start_ms + s * 1000;
      if (!hole) {
        add_pack_row(episode, t_ms, 340 + 60 * soc - now_a * ohm + volt_shift, now_a + sensor_a,
                     1000);
      }
      if (s % 10 == 0) {
        add_sample(episode.soc, t_ms, static_cast<std::uint32_t>(255 * shown + 1e-9));
        add_sample(episode.ambient, t_ms, 40 + 18);
        add_sample(episode.odometer, t_ms, 400'000);
      }
      soc -= now_a / 3600 / capacity_ah;
      shown -= now_a / 3600 / capacity_ah * shown_scale;
    }
    now_ms = start_ms + rows * 1000;
    close_episode(episode);
    return episode;
  }
  void sleep(double hours) {
    now_ms += static_cast<std::int64_t>(hours * 3.6e6);
    shown -= sleep_codes / 255.0;
  }
};

}  // namespace packmile::testing
