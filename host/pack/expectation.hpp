// What the owner expected the pack to lose, and what is said about it.
//
// Input     any number of points: per cent lost at so many km, or years.
// Output    on, better, worse or cannot_tell, by interval, never by the middle.
#pragma once
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "figure.hpp"

namespace packmile {

enum class FadeAxis : std::uint8_t { odometer_km, age_years, full_cycles };
[[nodiscard]] std::string_view word_of(FadeAxis axis);

struct LossPoint {
  double at = 0;        // km, years or cycles; from 0
  double lost_pct = 0;  // of the usable capacity when new
};

// From nothing lost at 0 (unless the first point stands there), straight from point
// to point; nothing is expected beyond the last.
struct LossLine {
  FadeAxis against = FadeAxis::odometer_km;
  std::vector<LossPoint> points;  // rising in `at`
  // nullopt: no points, below 0, or beyond the last.
  [[nodiscard]] std::optional<double> lost_pct_at(double at) const;
};

enum class LineVerdict : std::uint8_t { on, better, worse, cannot_tell };
[[nodiscard]] std::string_view word_of(LineVerdict expectation);

// So many points beside the line are still on it. A judgment.
inline constexpr double kExpectationBandPct = 2;

// lost_pct: what was measured, with its 95 %.
[[nodiscard]] LineVerdict judge_against_line(const Figure& lost_pct, double expected_pct,
                                             double band_pct = kExpectationBandPct);

}  // namespace packmile
