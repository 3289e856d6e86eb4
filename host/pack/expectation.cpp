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

std::string_view word_of(Expectation expectation) {
  switch (expectation) {
    case Expectation::on:
      return "on";
    case Expectation::better:
      return "better";
    case Expectation::worse:
      return "worse";
    case Expectation::cannot_tell:
      return "cannot_tell";
  }
  return "";
}

std::optional<double> ExpectationLine::lost_pct_at(double at) const {
  if (points.empty() || !(at >= 0)) return std::nullopt;
  ExpectationPoint from;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const ExpectationPoint& to = points[i];
    const bool last = i + 1 == points.size();
    if (to.at > from.at && (at <= to.at || last)) {
      return from.lost_pct + (to.lost_pct - from.lost_pct) * (at - from.at) / (to.at - from.at);
    }
    from = to;
  }
  return from.lost_pct;
}

Expectation judge_against_line(const Figure& lost_pct, double expected_pct, double band_pct) {
  const double low = lost_pct.low - expected_pct;
  const double high = lost_pct.high - expected_pct;
  if (low >= -band_pct && high <= band_pct) return Expectation::on;
  if (low > 0) return Expectation::worse;
  if (high < 0) return Expectation::better;
  return Expectation::cannot_tell;
}

}  // namespace packmile
