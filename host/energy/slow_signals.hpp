// Looking things up in a signal that is asked seldom: state of charge, odometer,
// ambient temperature.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>

#include "energy/motion.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// Of the standard odometer, SAE J1979 PID $A6.
inline constexpr double kOdometerStepKm = 0.1;

struct IndexRange {
  std::size_t from = 0;
  std::size_t past = 0;  // one behind the last
  [[nodiscard]] bool empty() const { return past <= from; }
  [[nodiscard]] std::size_t size() const { return empty() ? 0 : past - from; }
};

struct SlowSample {
  std::int64_t time_ms = 0;
  std::uint32_t raw = 0;
};

// Samples in the span, both ends included.
[[nodiscard]] IndexRange samples_in(const SignalSeries& series, const Span& span);
[[nodiscard]] std::optional<SlowSample> first_in(const SignalSeries& series, const Span& span);
[[nodiscard]] std::optional<SlowSample> last_in(const SignalSeries& series, const Span& span);
// The last sample at or before, the first at or after.
[[nodiscard]] std::optional<SlowSample> before(const SignalSeries& series, std::int64_t t_ms);
[[nodiscard]] std::optional<SlowSample> after(const SignalSeries& series, std::int64_t t_ms);

// km by the trapezoid of speed over the span; the speed is held outside its own
// samples for at most kSpeedHeldMs.
inline constexpr std::int64_t kSpeedHeldMs = 10'000;
struct SpeedDistance {
  double km = 0;
  double u_random_km = 0;  // 1 sd
  bool known = false;      // speed was answered in the span
  std::int64_t seen_ms = 0;
};
[[nodiscard]] SpeedDistance km_by_speed(const SignalSeries& speed, const Span& span);

}  // namespace packmile
