#include "energy/charge_curve.hpp"

#include <algorithm>

namespace packmile {

void ChargeCurve::add(std::int64_t after_ms, double kwh) {
  if (corners_.empty()) {
    corners_.push_back({after_ms, kwh});
    last_ = corners_.back();
    return;
  }
  if (after_ms <= last_.after_ms) return;
  const auto slopes = [&](double tolerance) {
    const CurvePoint& from = corners_.back();
    return (kwh - from.kwh + tolerance) / static_cast<double>(after_ms - from.after_ms);
  };
  if (open_) {
    const double slope = slopes(0);
    if (slope < least_slope_ || slope > greatest_slope_) {
      corners_.push_back(last_);
      open_ = false;
    }
  }
  const double low = slopes(-kCurveKwh), high = slopes(kCurveKwh);
  least_slope_ = open_ ? std::max(least_slope_, low) : low;
  greatest_slope_ = open_ ? std::min(greatest_slope_, high) : high;
  open_ = true;
  last_ = {after_ms, kwh};
}

std::vector<CurvePoint> ChargeCurve::finish() {
  if (open_) corners_.push_back(last_);
  open_ = false;
  return std::move(corners_);
}

std::vector<CurvePoint> charge_curve(const PackRows& rows, std::size_t from, std::size_t to) {
  ChargeCurve curve;
  double kwh = 0;
  curve.add(0, 0);
  for (std::size_t i = from; i < to; ++i) {
    const double a = rows.power_kw(i), b = rows.power_kw(i + 1);
    const double hours = static_cast<double>(rows.time_ms[i + 1] - rows.time_ms[i]) / 3.6e6;
    // The part of the straight line that lies below zero.
    if (a <= 0 && b <= 0)
      kwh -= (a + b) / 2 * hours;
    else if (a < 0)
      kwh += a * a / (b - a) / 2 * hours;
    else if (b < 0)
      kwh += b * b / (a - b) / 2 * hours;
    curve.add(rows.time_ms[i + 1] - rows.time_ms[from], kwh);
  }
  return curve.finish();
}

}  // namespace packmile
