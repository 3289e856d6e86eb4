#include "benchvan/scene.hpp"

#include <algorithm>

namespace packmile::benchvan {

void add_derived_values(Moment& moment, double run_time_s, double cleared_at_km) {
  if (!moment.has(Quantity::run_time_s)) moment.set(Quantity::run_time_s, run_time_s);
  if (!moment.has(Quantity::module_v)) moment.set(Quantity::module_v, kSupplyAwakeMv / 1000.0);
  if (!moment.has(Quantity::pack_temp_c)) moment.set(Quantity::pack_temp_c, kPackTempC);
  const std::optional<double> odometer_km = moment.get(Quantity::odometer_km);
  if (odometer_km && !moment.has(Quantity::distance_since_clear_km)) {
    moment.set(Quantity::distance_since_clear_km, std::max(0.0, *odometer_km - cleared_at_km));
  }
  const std::optional<double> pack_v = moment.get(Quantity::pack_v);
  const std::optional<double> pack_a = moment.get(Quantity::pack_a);
  if (pack_v && pack_a && !moment.has(Quantity::actual_torque_pct)) {
    const double power_kw = *pack_v * *pack_a / 1000.0;
    moment.set(Quantity::actual_torque_pct, 100.0 * power_kw / kFullTorqueKw);
  }
}

}  // namespace packmile::benchvan
