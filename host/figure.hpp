// A figure for people: never without its interval, never 0 for "not known".
#pragma once
#include <chrono>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>

namespace packmile {

// Milliseconds UTC. Local time exists only where people read it.
using UtcTime = std::chrono::sys_time<std::chrono::milliseconds>;
// Milliseconds since the start of 1970 UTC, and back.
[[nodiscard]] constexpr std::int64_t unix_ms_of(UtcTime at) {
  return at.time_since_epoch().count();
}
[[nodiscard]] constexpr UtcTime utc_of(std::int64_t unix_ms) {
  return UtcTime{std::chrono::milliseconds{unix_ms}};
}

// By how much a moment may be said too late and too early, ms; absent: nothing
// bounds it on that side.
struct TimeDoubt {
  std::optional<std::int64_t> too_late_ms = 0, too_early_ms = 0;

  [[nodiscard]] std::optional<UtcTime> earliest(UtcTime said) const {
    if (!too_late_ms) return std::nullopt;
    return said - std::chrono::milliseconds{*too_late_ms};
  }
  [[nodiscard]] std::optional<UtcTime> latest(UtcTime said) const {
    if (!too_early_ms) return std::nullopt;
    return said + std::chrono::milliseconds{*too_early_ms};
  }
  // Nothing at all is known about when it was.
  [[nodiscard]] bool boundless() const { return !too_late_ms && !too_early_ms; }
  bool operator==(const TimeDoubt&) const = default;
};

// 1 mile = 1.609344 km exactly (international yard and pound agreement, 1959).
inline constexpr double kKmPerMile = 1.609344;

// low..high: 95 %, random and systematic parts together. scatter: 95 %
// half-width of the random part alone, which is what averages out.
struct Figure {
  double value = 0;
  double low = 0;
  double high = 0;
  double scatter = 0;
};

// 97.5 % point of the normal distribution.
inline constexpr double kZ95 = 1.959963984540054;

// From two standard uncertainties (1 sd).
inline Figure figure_of(double value, double u_random, double u_systematic) {
  const double half = kZ95 * std::hypot(u_random, u_systematic);
  return {value, value - half, value + half, kZ95 * u_random};
}

// A figure, or why there is none and how to find out.
struct MaybeFigure {
  std::optional<Figure> figure;
  std::string why;

  static MaybeFigure known(Figure f) { return {f, {}}; }
  static MaybeFigure unknown(std::string reason) { return {std::nullopt, std::move(reason)}; }
};

}  // namespace packmile
