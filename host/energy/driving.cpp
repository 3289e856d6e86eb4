#include "energy/driving.hpp"

#include <algorithm>

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
  std::int64_t kmh_ms_2 = 0, standing_ms_2 = 0, hole_ms = 0, stops = 0;
  std::uint32_t fastest_kmh = 0;  // since the last stop
  std::uint32_t before_kmh = kmh[range.from];
  std::int64_t before_ms = time_ms[range.from];
  for (std::size_t i = range.from + 1; i < range.past; ++i) {
    const std::uint32_t now_kmh = kmh[i];
    const std::int64_t step_ms = time_ms[i] - before_ms;
    fastest_kmh = std::max(fastest_kmh, before_kmh);
    if (step_ms > kSpeedHeldMs)
      hole_ms += step_ms;
    else if (now_kmh > 0 && before_kmh > 0)  // nearly always
      kmh_ms_2 += step_ms * (std::int64_t{before_kmh} + now_kmh);
    else {
      kmh_ms_2 += step_ms * (std::int64_t{before_kmh} + now_kmh);
      standing_ms_2 += step_ms * ((before_kmh == 0) + (now_kmh == 0));
    }
    if (now_kmh == 0 && fastest_kmh >= brisk_kmh) {
      ++stops;
      fastest_kmh = 0;
    }
    before_kmh = now_kmh;
    before_ms = time_ms[i];
  }
  const std::int64_t seen_ms = before_ms - time_ms[range.from] - hole_ms;
  const std::int64_t moving_ms_2 = 2 * seen_ms - standing_ms_2;
  if (moving_ms_2 <= 0 ||
      static_cast<double>(seen_ms) < kLeastSeenShare * static_cast<double>(moving.length_ms()))
    return std::nullopt;
  return Driving{
      rules.km_per_speed_km * static_cast<double>(kmh_ms_2) / static_cast<double>(moving_ms_2),
      static_cast<double>(stops)};
}

}  // namespace packmile
