// A simple traction pack and van body: speed in, pack voltage and current out.
//
// Sign    power and current are positive while the pack discharges.
// Method  open-circuit voltage by state of charge, one series resistance that
//         grows in the cold, and where wanted a second one with a capacitor across
//         it and a temperature with heat of its own; road load of mass, rolling, air; regeneration
//         with its own efficiency and limits; heater by ambient temperature.
// Source  orders of magnitude of a van of up to 3.5 t with a pack of 60 kWh: common
//         practice, no source. Nothing here imitates a van on the market.
#pragma once
#include <optional>

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

struct PackTraits {
  double capacity_ah = kNominalAh;  // between empty and full, as new in this run
  double resistance_factor = 1;     // of the usual one
  // A second resistance that needs kSlowS to show: this share of the first.
  double slow_share = 0;
  // False: as warm as the air, always.
  bool has_temperature = false;
};

class PackModel {
 public:
  // State of charge 0..100.
  PackModel(double capacity_ah, double soc_pct)
      : PackModel(PackTraits{.capacity_ah = capacity_ah}, soc_pct) {}
  PackModel(const PackTraits& traits, double soc_pct)
      : traits_(traits), capacity_ah_(traits.capacity_ah), soc_pct_(soc_pct) {}

  struct Terminals {
    double pack_v = 0;
    double pack_a = 0;
  };
  // What the terminals show when the pack gives that power (negative: takes).
  [[nodiscard]] Terminals at_power(double power_kw, double ambient_c) const;
  // Lets the current flow: the mean over the step. What a full pack takes for its
  // balance stays in no cell.
  void flow(double pack_a, double for_s, double ambient_c, bool balance = false);
  // Nothing flows for so long.
  void rest(double for_s, double ambient_c);
  // Keeps the charge in Ah of what is left of the capacity in proportion: what is
  // lost is lost in full and empty cells alike.
  void fade_to(double capacity_ah) { capacity_ah_ = capacity_ah; }
  [[nodiscard]] double capacity_ah() const { return capacity_ah_; }
  // Of the cells; the air's where the pack has none of its own.
  [[nodiscard]] double temp_c(double ambient_c) const {
    return temp_c_ && traits_.has_temperature ? *temp_c_ : ambient_c;
  }
  [[nodiscard]] double soc_pct() const { return soc_pct_; }
  [[nodiscard]] double open_circuit_v() const;
  // Mean of it from empty to full.
  [[nodiscard]] static double mean_open_v();

 private:
  [[nodiscard]] double resistance_ohm(double ambient_c) const;
  void warm_towards(double ambient_c, double for_s);

  PackTraits traits_;
  double capacity_ah_;
  double soc_pct_;
  double slow_v_ = 0;  // over the slow resistance
  std::optional<double> temp_c_;
  double step_s_ = 0;  // of which the two factors below are
  double slow_left_ = 0;
  double temp_left_ = 0;
};

}  // namespace packmile::benchvan
