// What really happened on a track: energy and charge by its own fine steps.
//
// Sign    discharge and charge are both counted positive.
// Method  power is a straight line between rows (trapezoid), split at its zero;
//         current likewise for the ampere-hours.
#pragma once
#include <optional>
#include <string>

#include "benchvan/track.hpp"

namespace packmile::benchvan {

inline constexpr double kKmPerMile = 1.609344;  // exact, by definition

struct TrackTruth {
  double discharge_kwh = 0;
  double charge_kwh = 0;  // regeneration, or what a charger put in
  double discharge_ah = 0;
  double charge_ah = 0;
  double distance_km = 0;
  double peak_charge_kw = 0;  // greatest mean over 10 s
  double charger_hours = 0;   // time at 0.6 kW or more into the pack at a standstill
  // Seconds after row one of the first and last moment with current into the
  // pack; absent: none.
  std::optional<double> charge_from_s;
  std::optional<double> charge_to_s;

  [[nodiscard]] double net_kwh() const { return discharge_kwh - charge_kwh; }
};

// The track must have speed, pack voltage and current in every row.
[[nodiscard]] TrackTruth measure(const Track& track);

// UTC with offset, whole milliseconds: 2026-01-05T06:00:00.000+00:00.
[[nodiscard]] std::string iso_time(std::int64_t unix_ms);

}  // namespace packmile::benchvan
