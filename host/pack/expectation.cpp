#include "pack/expectation.hpp"

namespace packmile {

std::string_view word_of(FadeAxis axis) {
  switch (axis) {
    case FadeAxis::odometer_km:
      return "odometer_km";
    case FadeAxis::age_years:
      return "age_years";
    case FadeAxis::full_cycles:
      return "full_cycles";
  }
  return "";
}

std::string_view word_of(LineVerdict expectation) {
  switch (expectation) {
    case LineVerdict::on:
      return "on";
    case LineVerdict::better:
      return "better";
    case LineVerdict::worse:
      return "worse";
    case LineVerdict::cannot_tell:
      return "cannot_tell";
  }
  return "";
}

std::optional<double> LossLine::lost_pct_at(double at) const {
  if (points.empty() || !(at >= 0)) return std::nullopt;
  LossPoint from;
  for (const LossPoint& to : points) {
    if (at <= to.at) {
      if (!(to.at > from.at)) return to.lost_pct;
      return from.lost_pct + (to.lost_pct - from.lost_pct) * (at - from.at) / (to.at - from.at);
    }
    from = to;
  }
  return std::nullopt;
}

LineVerdict judge_against_line(const Figure& lost_pct, double expected_pct, double band_pct) {
  const double low = lost_pct.low - expected_pct;
  const double high = lost_pct.high - expected_pct;
  if (low >= -band_pct && high <= band_pct) return LineVerdict::on;
  if (low > 0) return LineVerdict::worse;
  if (high < 0) return LineVerdict::better;
  return LineVerdict::cannot_tell;
}

}  // namespace packmile
