// Speed against odometer: are whole km/h rounded or cut, and how many kilometres
// of the odometer is one of the speed's integral.
//
// Input     episodes in time order; readings of the odometer that people noted.
// Output    verdicts speed_rounding and distance_scale for each (ECU of the speed,
//           its calibration id).
// Method    odometer = k * integral of speed + c * time moving, by least squares
//           over stretches of 5 km or more between two steps of the odometer. A
//           speed that is cut down lacks half a km/h while the van moves: c is 0.5;
//           of a rounded one it is 0.
// Notes     two notes 100 km or more apart tell whether the van's odometer counts
//           what its dashboard shows; without an odometer they take its place.
// Refuses   less than 200 km, or stretches of too like a mean speed.
// Caution   the odometer's own scale (tyres) is in neither.
// Bounded   32 bytes for each stretch, 64 for each episode.
#pragma once
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "energy/van_account.hpp"
#include "reading/verdict.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// What somebody read off the dashboard.
struct NotedOdometer {
  UtcTime from, to;  // when; a day is an interval
  double km = 0;
};

// One stretch between two steps of the odometer.
struct SpeedStretch {
  double odometer_km = 0;
  double speed_km = 0;
  double moving_h = 0;
  double u_km = 0;  // 1 sd, of odometer_km against speed_km
};
struct SpeedFit {
  double k = 0;
  double c_kmh = 0;
  double u_k = 0;
  double u_c_kmh = 0;
  // k alone, for c = 0 and c = 0.5.
  double k_rounded = 0;
  double k_cut = 0;
  double u_k_alone = 0;
};
// nullopt: fewer than three, or all of one mean speed.
[[nodiscard]] std::optional<SpeedFit> fit_speed(std::span<const SpeedStretch> stretches);

// Rules for distances of one van: with one agreed distance_scale, distances by speed
// are multiplied by it and are off by what it and the odometer behind it are. With
// several, or none, as they were: which of them held when is not told.
[[nodiscard]] EnergyRules rules_for_distance(std::span<const Verdict> verdicts,
                                             EnergyRules rules = {});

class SpeedScale {
 public:
  void observe(const Episode& episode);
  [[nodiscard]] std::vector<Verdict> decide(std::span<const NotedOdometer> notes) const;

 private:
  struct Seen {
    std::vector<SpeedStretch> stretches;
    double speed_km = 0;  // all of it
    // UTC ms and km at both ends of each episode: of the odometer, and by speed so
    // far; what a note is held against.
    std::vector<std::pair<std::int64_t, double>> odometer;
    std::vector<std::pair<std::int64_t, double>> travelled;
    std::int64_t first_ms = 0;
    std::int64_t last_ms = 0;
    bool any = false;
  };
  void find_stretches(const Episode& episode, Seen& seen) const;
  // ECU of the speed, its calibration id.
  std::map<std::pair<std::uint32_t, std::string>, Seen> seen_;
};

}  // namespace packmile
