#include "benchvan/sensors.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace packmile::benchvan {
namespace {

constexpr double kRestS = 2 * 3600;      // the cells' voltage then tells their charge
constexpr double kRestWeight = 1.0 / 3;  // of that in the controller's new count
constexpr double kTopFromPct = 96;       // the cells' voltage tells a nearly full pack
constexpr double kTopS = 600;            // time in which the count is brought there

// Value of the column `late_s` earlier; the first row's before the start.
std::vector<double> later(const std::vector<double>& time_s, const std::vector<double>& column,
                          double late_s) {
  std::vector<double> shown(column.size());
  std::size_t row = 0;
  for (std::size_t i = 0; i < column.size(); ++i) {
    const double at_s = time_s[i] - late_s;
    while (row + 1 < column.size() && time_s[row + 1] <= at_s) ++row;
    if (at_s <= time_s[row] || row + 1 == column.size()) {
      shown[i] = column[row];
      continue;
    }
    const double share = (at_s - time_s[row]) / (time_s[row + 1] - time_s[row]);
    shown[i] = column[row] + share * (column[row + 1] - column[row]);
  }
  return shown;
}

}  // namespace

Sensors::Sensors(const VanTraits& traits, std::uint64_t seed, double true_soc_pct,
                 double odometer_km)
    : traits_(traits),
      generator_(seed ^ 0x73656E736F7273u),
      soc_pct_(true_soc_pct),
      shown_soc_pct_(true_soc_pct),
      believed_ah_(traits.believed_ah),
      true_odometer_km_(odometer_km),
      shown_odometer_km_(odometer_km) {}

void Sensors::rest(double for_s, double true_soc_pct) {
  if (for_s < kRestS) return;
  const double turn = true_soc_pct / 100 + traits_.table_phase;
  const double seen_pct = true_soc_pct + traits_.rest_error_pct * generator_.normal() +
                          traits_.table_error_pct * std::sin(2 * std::numbers::pi * turn);
  // A controller without an error of its own has nothing to put right.
  if (traits_.rest_error_pct > 0) {
    soc_pct_ = std::clamp(soc_pct_ + kRestWeight * (seen_pct - soc_pct_), 0.0, 100.0);
  } else if (traits_.mechanisms.believes_160_of_140) {
    soc_pct_ += kRestWeight * (true_soc_pct - soc_pct_);
  }
  shown_soc_pct_ = soc_pct_;
}

void Sensors::mid_month(double true_soc_pct) {
  if (traits_.relearnt_ah > 0) {
    believed_ah_ = traits_.relearnt_ah;
    // What the cells hold is put anew into the scale.
    soc_pct_ = true_soc_pct;
  }
  soc_pct_ = std::clamp(soc_pct_ + traits_.jump_pct, 0.0, 100.0);
  shown_soc_pct_ = soc_pct_;
}

void Sensors::count(const Track& track, std::vector<double>& soc_pct) {
  const std::vector<double>& pack_a = track.column(Quantity::pack_a);
  for (std::size_t i = 0; i < soc_pct.size(); ++i) {
    const double true_pct = soc_pct[i];
    if (i > 0) {
      const double step_s = track.time_s[i] - track.time_s[i - 1];
      const double own_a =
          (1 + traits_.own_gain) * (pack_a[i] + pack_a[i - 1]) / 2 + traits_.own_offset_a;
      const bool charging = pack_a[i] < 0 && track.column(Quantity::speed_kmh)[i] <= 0;
      soc_pct_ -= 100.0 * own_a * step_s / 3600.0 / believed_ah_;
      if (charging && true_pct > kTopFromPct)
        soc_pct_ += (true_pct - soc_pct_) * std::min(1.0, step_s / kTopS);
      soc_pct_ = std::clamp(soc_pct_, 0.0, 100.0);
      const double most_pct = traits_.soc_slew_pct_per_s * step_s;
      shown_soc_pct_ =
          most_pct > 0 ? shown_soc_pct_ + std::clamp(soc_pct_ - shown_soc_pct_, -most_pct, most_pct)
                       : soc_pct_;
    }
    soc_pct[i] = shown_soc_pct_;
    if (traits_.soc_step_pct > 0)
      soc_pct[i] = std::floor(soc_pct[i] / traits_.soc_step_pct + 1e-9) * traits_.soc_step_pct;
  }
}

void Sensors::show(Track& track, double day, double pack_temp_c) {
  // Without a mechanism of the controller the true charge is shown to the bit.
  const Mechanisms& m = traits_.mechanisms;
  if (m.controller || m.believes_160_of_140 || m.relearn || m.soc_jump || m.soc_slew || m.soc_step)
    count(track, track.column(Quantity::soc_pct));
  const double swing =
      traits_.offset_swing_a * std::sin(2 * std::numbers::pi * day / kOffsetSwingDays);
  const double warmth = day / kOffsetWanderDays + traits_.offset_wander_phase;
  const double offset_a =
      traits_.offset_a + swing + traits_.offset_wander_a * std::sin(2 * std::numbers::pi * warmth);
  const double gain = 1 + traits_.gain + traits_.gain_per_c * std::max(0.0, 20.0 - pack_temp_c);
  for (double& pack_a : track.column(Quantity::pack_a)) pack_a = gain * pack_a + offset_a;
  for (double& pack_v : track.column(Quantity::pack_v)) pack_v *= 1 + traits_.voltage_gain;
  if (traits_.voltage_lag_s > 0) {
    track.column(Quantity::pack_v) =
        later(track.time_s, track.column(Quantity::pack_v), traits_.voltage_lag_s);
  }
  for (double& kmh : track.column(Quantity::speed_kmh)) kmh *= 1 + traits_.speed_scale;
  std::vector<double>& odometer_km = track.column(Quantity::odometer_km);
  const double from_km = odometer_km.empty() ? true_odometer_km_ : odometer_km.front();
  for (double& km : odometer_km)
    km = shown_odometer_km_ + (1 + traits_.odometer_scale) * (km - from_km);
  if (!odometer_km.empty()) shown_odometer_km_ = odometer_km.back();
}

}  // namespace packmile::benchvan
