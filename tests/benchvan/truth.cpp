#include "benchvan/truth.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <ctime>

namespace packmile::benchvan {
namespace {

// Area of a straight line from a to b over `step`, above and below zero.
struct Lobes {
  double above = 0;
  double below = 0;  // counted positive
};

Lobes lobes_of(double a, double b, double step) {
  if (a >= 0 && b >= 0) return {.above = (a + b) / 2 * step};
  if (a <= 0 && b <= 0) return {.below = -(a + b) / 2 * step};
  const double zero = a / (a - b);
  const double first = a / 2 * zero * step;
  const double second = b / 2 * (1 - zero) * step;
  return a > 0 ? Lobes{first, -second} : Lobes{second, -first};
}

}  // namespace

TrackTruth measure(const Track& track) {
  constexpr double kJoulesPerKwh = 3.6e6;
  constexpr double kChargingKw = 0.6;
  constexpr double kPeakWindowS = 10;
  const auto& pack_v = track.column(Quantity::pack_v);
  const auto& pack_a = track.column(Quantity::pack_a);
  const auto& speed_kmh = track.column(Quantity::speed_kmh);
  TrackTruth truth;
  truth.distance_km = track.distance_km();
  double window_j = 0;
  double window_from_s = track.time_s.empty() ? 0.0 : track.time_s.front();
  for (std::size_t i = 1; i < track.time_s.size(); ++i) {
    const double from_s = track.time_s[i - 1];
    const double step_s = track.time_s[i] - from_s;
    const double power_from_w = pack_v[i - 1] * pack_a[i - 1];
    const double power_to_w = pack_v[i] * pack_a[i];
    const Lobes joules = lobes_of(power_from_w, power_to_w, step_s);
    truth.discharge_kwh += joules.above / kJoulesPerKwh;
    truth.charge_kwh += joules.below / kJoulesPerKwh;
    const Lobes coulombs = lobes_of(pack_a[i - 1], pack_a[i], step_s);
    truth.discharge_ah += coulombs.above / 3600.0;
    truth.charge_ah += coulombs.below / 3600.0;
    if (joules.below > 0) {
      const double zero =
          power_from_w > 0 ? power_from_w / (power_from_w - power_to_w) * step_s : 0.0;
      if (!truth.charge_from_s) truth.charge_from_s = from_s + zero - track.time_s.front();
      const double end =
          power_to_w > 0 ? power_from_w / (power_from_w - power_to_w) * step_s : step_s;
      truth.charge_to_s = from_s + end - track.time_s.front();
    }
    const double mean_kw = (power_from_w + power_to_w) / 2000.0;
    if (mean_kw <= -kChargingKw && speed_kmh[i] <= 0) truth.charger_hours += step_s / 3600.0;
    window_j += joules.below;
    if (track.time_s[i] - window_from_s >= kPeakWindowS - 1e-9) {
      const double window_kw = window_j / (track.time_s[i] - window_from_s) / 1000.0;
      truth.peak_charge_kw = std::max(truth.peak_charge_kw, window_kw);
      window_j = 0;
      window_from_s = track.time_s[i];
    }
  }
  return truth;
}

std::string iso_time(std::int64_t unix_ms) {
  const auto seconds = static_cast<std::time_t>(unix_ms / 1000);
  return fmt::format("{:%Y-%m-%dT%H:%M:%S}.{:03}+00:00", fmt::gmtime(seconds), unix_ms % 1000);
}

}  // namespace packmile::benchvan
