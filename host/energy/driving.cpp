#include "energy/driving.hpp"

#include "energy/slow_signals.hpp"

namespace packmile {
namespace {

// As for rows of the regression that these figures feed.
constexpr double kLeastSeenShare = 0.9;

}  // namespace

std::optional<Driving> driving_of(const Episode& episode, const Span& moving,
                                  const EnergyRules& rules) {
  const SignalSeries& speed = episode.speed;
  const IndexRange range = samples_in(speed, moving);
  if (range.size() < 2 || !speed_answered(episode, moving)) return std::nullopt;
  const auto brisk_kmh = static_cast<std::uint32_t>(rules.moving_kmh);
  const std::int64_t* time_ms = speed.time_ms.data();
  const std::uint32_t* kmh = speed.raw.data();
  // Twice the sums, in whole numbers.
  std::int64_t km_2 = 0, moving_ms_2 = 0, seen_ms = 0, stops = 0;
  bool brisk = false;
  for (std::size_t i = range.from + 1; i < range.past; ++i) {
    brisk = brisk || kmh[i - 1] >= brisk_kmh;
    if (kmh[i] == 0 && brisk) {
      ++stops;
      brisk = false;
    }
    const std::int64_t step_ms = time_ms[i] - time_ms[i - 1];
    if (step_ms > kSpeedHeldMs) continue;
    seen_ms += step_ms;
    km_2 += step_ms * (std::int64_t{kmh[i - 1]} + kmh[i]);
    moving_ms_2 += step_ms * ((kmh[i - 1] > 0) + (kmh[i] > 0));
  }
  if (moving_ms_2 == 0 ||
      static_cast<double>(seen_ms) < kLeastSeenShare * static_cast<double>(moving.length_ms()))
    return std::nullopt;
  return Driving{static_cast<double>(km_2) / static_cast<double>(moving_ms_2),
                 static_cast<double>(stops)};
}

}  // namespace packmile
