// What the van shows of what really happens: sensors with their faults, and the
// controller that counts the state of charge.
//
// Input   a track with the true speed, voltage, current, charge and distance.
// Output  the same track as its sensors answer it.
// Method  the controller counts its own sensor's Ah over the capacity it believes
//         in. A full pack it sees: it closes the gap over the last points. After a
//         rest of two hours it takes up a third of what the cells' voltage says.
#pragma once
#include "benchvan/generator.hpp"
#include "benchvan/track.hpp"
#include "benchvan/van_traits.hpp"

namespace packmile::benchvan {

class Sensors {
 public:
  // `true_soc_pct`: of the pack at the start; the controller begins with it.
  Sensors(const VanTraits& traits, std::uint64_t seed, double true_soc_pct, double odometer_km);

  // The van slept for so long; `true_soc_pct` of the pack now.
  void rest(double for_s, double true_soc_pct);
  // The mid of the month has passed.
  void mid_month(double true_soc_pct);
  // Turns the true track into the shown one. `day`: of the plan, with fraction;
  // `pack_temp_c`: of the track's start.
  void show(Track& track, double day, double pack_temp_c);

  [[nodiscard]] double controller_soc_pct() const { return soc_pct_; }

 private:
  void count(const Track& track, std::vector<double>& soc_pct);

  VanTraits traits_;
  Generator generator_;
  double soc_pct_;        // the controller's own
  double shown_soc_pct_;  // behind it where it is slow
  double believed_ah_;
  double true_odometer_km_;
  double shown_odometer_km_;
};

}  // namespace packmile::benchvan
