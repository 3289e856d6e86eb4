// The bench's own time: nanoseconds since the bench was switched on, so that a
// byte on the serial line (86.8 us at 115200 baud) is not rounded away.
#pragma once
#include <cstdint>
#include <limits>

namespace packmile::benchvan {

using Nanos = std::int64_t;

inline constexpr Nanos kNanosPerMs = 1'000'000;
inline constexpr Nanos kNanosPerSecond = 1'000'000'000;
// Later than anything that happens.
inline constexpr Nanos kNever = std::numeric_limits<Nanos>::max();

[[nodiscard]] constexpr double seconds_of(Nanos time_ns) {
  return static_cast<double>(time_ns) / static_cast<double>(kNanosPerSecond);
}

[[nodiscard]] constexpr Nanos nanos_of_seconds(double time_s) {
  return static_cast<Nanos>(time_s * static_cast<double>(kNanosPerSecond) + 0.5);
}

}  // namespace packmile::benchvan
