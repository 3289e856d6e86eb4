#include "benchvan/pack_model.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace packmile::benchvan {
namespace {

constexpr double kGravity = 9.81;
constexpr double kAirDensity = 1.20;    // kg/m3 at 20 C
constexpr double kRotatingMass = 1.05;  // wheels and motor, share of the mass
constexpr double kCellsInSeries = 96;
// Open-circuit voltage of a cell at 0, 10, .. 100 % of charge: the shape of a
// nickel cell. Common practice, no source.
constexpr std::array kCellV{3.20, 3.45, 3.53, 3.58, 3.62, 3.67, 3.75, 3.84, 3.93, 4.03, 4.17};
constexpr double kResistanceOhm = 0.085;   // at 20 C
constexpr double kResistancePerC = 0.012;  // more for each degree below 20 C

constexpr double kSlowS = 45;           // of the slow resistance
constexpr double kCoolingS = 9 * 3600;  // towards the air
constexpr double kHeatJPerC = 400e3;    // 400 kg at 1000 J/(kg C)

}  // namespace

double traction_kw(const VanBody& body, double speed_kmh, double accel_m_s2) {
  const double speed_m_s = speed_kmh / 3.6;
  if (speed_m_s <= 0) return 0;
  const double force_n = body.mass_kg * kRotatingMass * accel_m_s2 +
                         body.mass_kg * kGravity * body.rolling +
                         0.5 * kAirDensity * body.drag_area_m2 * speed_m_s * speed_m_s;
  const double wheel_kw = force_n * speed_m_s / 1000.0;
  if (wheel_kw >= 0) return std::min(wheel_kw / body.drive_efficiency, body.drive_max_kw);
  const double fade = std::clamp(speed_kmh / body.regen_fades_below_kmh, 0.0, 1.0);
  return -std::min(-wheel_kw * body.regen_efficiency * fade, body.regen_max_kw);
}

double climate_kw(double ambient_c) {
  // No need between 18 and 22 C; at -5 C about 2.8 kW, at 35 C about 1 kW.
  const double heating = std::max(0.0, 18.0 - ambient_c) * 0.12;
  const double cooling = std::max(0.0, ambient_c - 22.0) * 0.08;
  return std::min(heating + cooling, 4.0);
}

double PackModel::open_circuit_v() const {
  const double place = std::clamp(soc_pct_, 0.0, 100.0) / 10.0;
  const auto low = std::min(static_cast<std::size_t>(place), kCellV.size() - 2);
  const double share = place - static_cast<double>(low);
  return kCellsInSeries * (kCellV[low] + share * (kCellV[low + 1] - kCellV[low]));
}

double PackModel::mean_open_v() {
  double sum_v = (kCellV.front() + kCellV.back()) / 2;
  for (std::size_t i = 1; i + 1 < kCellV.size(); ++i) sum_v += kCellV[i];
  return kCellsInSeries * sum_v / static_cast<double>(kCellV.size() - 1);
}

double PackModel::resistance_ohm(double ambient_c) const {
  const double cold_c = std::clamp(20.0 - temp_c(ambient_c), 0.0, 40.0);
  return kResistanceOhm * traits_.resistance_factor * (1.0 + kResistancePerC * cold_c);
}

PackModel::Terminals PackModel::at_power(double power_kw, double ambient_c) const {
  const double open_v = open_circuit_v() - slow_v_;
  const double resistance = resistance_ohm(ambient_c);
  // P = (open - R I) I, the smaller current; never beyond the most the pack can give.
  const double root = std::max(0.0, open_v * open_v - 4.0 * resistance * power_kw * 1000.0);
  const double pack_a = (open_v - std::sqrt(root)) / (2.0 * resistance);
  return {.pack_v = open_v - resistance * pack_a, .pack_a = pack_a};
}

void PackModel::warm_towards(double ambient_c, double for_s) {
  if (!temp_c_) temp_c_ = ambient_c;
  if (for_s != step_s_) {
    step_s_ = for_s;
    slow_left_ = std::exp(-for_s / kSlowS);
    temp_left_ = std::exp(-for_s / kCoolingS);
  }
  *temp_c_ = ambient_c + temp_left_ * (*temp_c_ - ambient_c);
}

void PackModel::flow(double pack_a, double for_s, double ambient_c, bool balance) {
  if (!balance) soc_pct_ -= 100.0 * pack_a * for_s / 3600.0 / capacity_ah_;
  if (traits_.slow_share <= 0 && !traits_.has_temperature) return;
  const double resistance = resistance_ohm(ambient_c);
  warm_towards(ambient_c, for_s);
  *temp_c_ += resistance * (1 + traits_.slow_share) * pack_a * pack_a * for_s / kHeatJPerC;
  const double settled_v = traits_.slow_share * resistance * pack_a;
  slow_v_ = settled_v + slow_left_ * (slow_v_ - settled_v);
}

void PackModel::rest(double for_s, double ambient_c) {
  if (traits_.slow_share <= 0 && !traits_.has_temperature) return;
  warm_towards(ambient_c, for_s);
  slow_v_ *= slow_left_;
}

}  // namespace packmile::benchvan
