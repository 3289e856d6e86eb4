#include "benchvan/track.hpp"

#include <cmath>

namespace packmile::benchvan {
namespace {

bool runs_straight(Quantity quantity) {
  return quantity == Quantity::speed_kmh || quantity == Quantity::pack_v ||
         quantity == Quantity::pack_a;
}

}  // namespace

QuantitySet Track::quantities() const {
  QuantitySet present;
  for (std::size_t i = 0; i < kQuantities; ++i) {
    for (const double value : columns[i]) {
      if (std::isnan(value)) continue;
      present.add(static_cast<Quantity>(i));
      break;
    }
  }
  return present;
}

void measure_distance(Track& track) {
  const std::vector<double>& speed_kmh = track.column(Quantity::speed_kmh);
  track.driven_km.clear();
  if (!track.quantities().has(Quantity::speed_kmh)) return;
  track.driven_km.resize(track.time_s.size(), 0.0);
  double sum_km = 0;
  for (std::size_t i = 1; i < track.time_s.size(); ++i) {
    const double step_h = (track.time_s[i] - track.time_s[i - 1]) / 3600.0;
    const double mean_kmh = (speed_kmh[i - 1] + speed_kmh[i]) / 2.0;
    if (!std::isnan(mean_kmh)) sum_km += mean_kmh * step_h;
    track.driven_km[i] = sum_km;
  }
}

TrackCursor::TrackCursor(const Track& track) : track_(&track) {
  for (std::size_t i = 0; i < kQuantities; ++i)
    if (!track.columns[i].empty()) present_[columns_++] = static_cast<Quantity>(i);
}

bool TrackCursor::show(double after_s, Moment& moment) {
  moment.clear();
  const std::vector<double>& times_s = track_->time_s;
  if (times_s.empty() || after_s < 0) return false;
  const double at_s = times_s.front() + after_s;
  while (row_ + 1 < times_s.size() && times_s[row_ + 1] <= at_s) ++row_;
  const double past_s = at_s - times_s[row_];
  const bool last_row = row_ + 1 == times_s.size();
  // The last row itself is still played; a microsecond of rounding is allowed.
  if (last_row && past_s > 1e-6) return false;
  const double step_s = last_row ? 0.0 : times_s[row_ + 1] - times_s[row_];
  if (step_s > kSilentStepS && past_s > 1e-6) return false;

  const bool on_row = last_row || past_s <= 0;
  const double share = on_row ? 0.0 : past_s / step_s;
  for (std::size_t i = 0; i < columns_; ++i) {
    const Quantity quantity = present_[i];
    const std::vector<double>& column = track_->column(quantity);
    double value = column[row_];
    if (!on_row && runs_straight(quantity)) value += share * (column[row_ + 1] - value);
    if (!std::isnan(value)) moment.set(quantity, value);
  }
  driven_km_.reset();
  if (!track_->driven_km.empty()) {
    const std::vector<double>& speed_kmh = track_->column(Quantity::speed_kmh);
    double partial_km = 0;
    if (!on_row) {
      const double mean_kmh =
          speed_kmh[row_] + share * (speed_kmh[row_ + 1] - speed_kmh[row_]) / 2.0;
      if (!std::isnan(mean_kmh)) partial_km = mean_kmh * past_s / 3600.0;
    }
    driven_km_ = track_->driven_km[row_] + partial_km;
  }
  return true;
}

}  // namespace packmile::benchvan
