#include "energy/slow_signals.hpp"

#include <algorithm>
#include <cmath>

namespace packmile {
namespace {

// Whole km/h: 0.29 km/h (1 sd), and neighbours share their rounding for about a
// minute of steady driving: 26 m in half an hour, as simulated (28 m).
constexpr double kSpeedCodeU = 0.288675;
constexpr double kSharedRoundingS = 60;
// A hole of the speed: the way in it is known to a third. Common practice.
constexpr double kHoleU = 0.3;

}  // namespace

IndexRange samples_in(const SignalSeries& series, const Span& span) {
  const auto& t = series.time_ms;
  const auto from = std::lower_bound(t.begin(), t.end(), span.from_ms);
  const auto past = std::upper_bound(from, t.end(), span.to_ms);
  return {static_cast<std::size_t>(from - t.begin()), static_cast<std::size_t>(past - t.begin())};
}

std::optional<SlowSample> first_in(const SignalSeries& series, const Span& span) {
  const IndexRange range = samples_in(series, span);
  if (range.empty()) return std::nullopt;
  return SlowSample{series.time_ms[range.from], series.raw[range.from]};
}

std::optional<SlowSample> last_in(const SignalSeries& series, const Span& span) {
  const IndexRange range = samples_in(series, span);
  if (range.empty()) return std::nullopt;
  return SlowSample{series.time_ms[range.past - 1], series.raw[range.past - 1]};
}

std::optional<SlowSample> before(const SignalSeries& series, std::int64_t t_ms) {
  const auto past = std::upper_bound(series.time_ms.begin(), series.time_ms.end(), t_ms);
  if (past == series.time_ms.begin()) return std::nullopt;
  const auto i = static_cast<std::size_t>(past - series.time_ms.begin()) - 1;
  return SlowSample{series.time_ms[i], series.raw[i]};
}

std::optional<SlowSample> after(const SignalSeries& series, std::int64_t t_ms) {
  const auto at = std::lower_bound(series.time_ms.begin(), series.time_ms.end(), t_ms);
  if (at == series.time_ms.end()) return std::nullopt;
  const auto i = static_cast<std::size_t>(at - series.time_ms.begin());
  return SlowSample{series.time_ms[i], series.raw[i]};
}

SpeedDistance km_by_speed(const SignalSeries& speed, const Span& span) {
  SpeedDistance sum;
  if (span.length_ms() <= 0) {
    sum.known = !speed.time_ms.empty();
    return sum;
  }
  const IndexRange inside = samples_in(speed, span);
  // One neighbour on each side, so that a piece between two samples counts.
  const std::size_t from = inside.from > 0 ? inside.from - 1 : inside.from;
  const std::size_t past = std::min(inside.past + 1, speed.time_ms.size());
  double hole_km2 = 0;
  std::int64_t kmh_ms_2 = 0;  // twice, of whole steps inside the span
  const std::int64_t* time_ms = speed.time_ms.data();
  const std::uint32_t* kmh = speed.raw.data();
  for (std::size_t i = from; i + 1 < past; ++i) {
    const std::int64_t t0 = time_ms[i];
    const std::int64_t t1 = time_ms[i + 1];
    if (t0 >= span.from_ms && t1 <= span.to_ms && t1 - t0 <= kSpeedHeldMs) {
      kmh_ms_2 += (t1 - t0) * (std::int64_t{kmh[i]} + kmh[i + 1]);
      sum.seen_ms += t1 - t0;
      continue;
    }
    const std::int64_t a = std::max(t0, span.from_ms);
    const std::int64_t b = std::min(t1, span.to_ms);
    if (b <= a) continue;
    const double v0 = kmh[i];
    const double slope =
        (static_cast<double>(speed.raw[i + 1]) - v0) / static_cast<double>(t1 - t0);
    const double middle =
        v0 + slope * (static_cast<double>(a - t0) + static_cast<double>(b - t0)) / 2;
    const double km = middle * static_cast<double>(b - a) / 3.6e6;
    sum.km += km;
    if (t1 - t0 > kSpeedHeldMs) {
      hole_km2 += km * km * kHoleU * kHoleU;
    } else {
      sum.seen_ms += b - a;
    }
    sum.known = true;
  }
  sum.km += static_cast<double>(kmh_ms_2) / 2 / 3.6e6;
  if (!inside.empty()) {
    const auto hold = [&](std::size_t i, std::int64_t ms) {
      sum.km += speed.raw[i] * static_cast<double>(std::min(ms, kSpeedHeldMs)) / 3.6e6;
    };
    if (inside.from == 0) hold(0, speed.time_ms[0] - span.from_ms);
    if (inside.past == speed.time_ms.size()) {
      hold(inside.past - 1, span.to_ms - speed.time_ms[inside.past - 1]);
    }
    sum.known = true;
  }
  const double seconds = static_cast<double>(sum.seen_ms) / 1e3;
  const double shared_s = std::min(kSharedRoundingS, seconds);
  sum.u_random_km =
      std::hypot(kSpeedCodeU / 3600 * std::sqrt(seconds * shared_s), std::sqrt(hole_km2));
  return sum;
}

}  // namespace packmile
