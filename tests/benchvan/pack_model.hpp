// A simple traction pack and van body: speed in, pack voltage and current out.
//
// Sign    power and current are positive while the pack discharges.
// Method  open-circuit voltage by state of charge, one series resistance that
//         grows in the cold; road load of mass, rolling, air; regeneration with
//         its own efficiency and limits; heater by ambient temperature.
// Source  orders of magnitude of a van of up to 3.5 t with a pack of 60 kWh: common
//         practice, no source. Nothing here imitates a van on the market.
#pragma once

namespace packmile::benchvan {

inline constexpr double kNominalAh = 160.0;
inline constexpr double kNominalKwh = 57.0;

struct VanBody {
  double mass_kg = 2500;       // with driver and the load of the moment
  double rolling = 0.010;      // rolling resistance, share of weight
  double drag_area_m2 = 1.55;  // drag coefficient times front area
  double drive_efficiency = 0.90;
  double regen_efficiency = 0.78;
  double regen_max_kw = 60;
  double regen_fades_below_kmh = 7;  // friction brakes take over
  double drive_max_kw = 95;
  double base_load_kw = 0.35;  // electronics, pumps, lights
};

// Electric power that the wheels ask of the pack, kW, at that speed and
// acceleration; without base load and heater.
[[nodiscard]] double traction_kw(const VanBody& body, double speed_kmh, double accel_m_s2);
// Mean power of cabin heater or cooler at that ambient temperature, kW.
[[nodiscard]] double climate_kw(double ambient_c);

class PackModel {
 public:
  // State of charge 0..100.
  PackModel(double capacity_ah, double soc_pct) : capacity_ah_(capacity_ah), soc_pct_(soc_pct) {}

  struct Terminals {
    double pack_v = 0;
    double pack_a = 0;
  };
  // What the terminals show when the pack gives that power (negative: takes).
  [[nodiscard]] Terminals at_power(double power_kw, double ambient_c) const;
  // Lets the current flow.
  void flow(double pack_a, double for_s);
  [[nodiscard]] double soc_pct() const { return soc_pct_; }
  [[nodiscard]] double open_circuit_v() const;

 private:
  double capacity_ah_;
  double soc_pct_;
};

}  // namespace packmile::benchvan
