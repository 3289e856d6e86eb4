#include "energy/soc_energy.hpp"

#include <cmath>

#include "energy/figure_sum.hpp"

namespace packmile {
namespace {

// A nominal capacity that an owner enters, and the controller's opinion at each
// end (measured on 79 pairs of a published fleet set: robust sd 1.6 points).
// Judgments, no source.
constexpr double kNominalU = 0.05;
constexpr double kSocPointU = 0.01;

}  // namespace

Figure soc_energy_kwh(double fallen_pct, double step_pct, double nominal_kwh) {
  const double step_kwh = step_pct / 100 * nominal_kwh;
  const double energy_kwh = fallen_pct / 100 * nominal_kwh;
  return figure_of(energy_kwh, step_kwh * std::sqrt(2.0 / 12),
                   std::hypot(kNominalU * energy_kwh, kSocPointU * nominal_kwh * std::sqrt(2.0)));
}

Figure unheard_fall_kwh(double fallen_pct, double step_pct, double nominal_kwh) {
  const double step_kwh = step_pct / 100 * nominal_kwh;
  const double controller_kwh = kSocPointU * nominal_kwh * std::sqrt(2.0);
  const double energy_kwh = fallen_pct / 100 * nominal_kwh;
  // A controller that puts its count right at rest moves it as a load would, by
  // several points where it has something to put right: nothing tells the two apart,
  // so it may have been no energy at all. Nor may all falls of a month: what it puts
  // right upwards is taken for a charge, and so these err to one side.
  return figure_from(energy_kwh, {kZ95 * std::hypot(step_kwh, controller_kwh), energy_kwh, 0});
}

}  // namespace packmile
