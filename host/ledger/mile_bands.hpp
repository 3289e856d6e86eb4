// Energy per mile by the temperature outside, and by month.
//
// Input     trips of the van's whole life.
// Output    bands or months in order, only those with a trip.
// Method    each is the energy per mile of throughput.hpp over its trips.
#pragma once
#include <string>
#include <vector>

#include "ledger/throughput.hpp"

namespace packmile {

// Wide enough that a year fills each, narrow enough to show heating (common
// practice, no source).
inline constexpr double kMileBandC = 5;

struct MileBand {
  double from_c = 0;  // to from_c + kMileBandC, not included
  std::size_t trips = 0;
  double mean_c = 0;  // by distance
  MaybeFigure kwh_per_mile;
  MaybeFigure miles;
};
// Trips without a temperature or without a distance are left out.
[[nodiscard]] std::vector<MileBand> miles_by_temperature(const VanParts& parts,
                                                         const Period& period, const Zone& zone);

struct MonthThroughput {
  std::string month;     // "2026-03", local
  UtcTime from, to;      // of the month, or of what of it the period holds
  MaybeFigure distance;  // km of the trips that start in it, as far as known
  // Km between the odometer's last reading before the month, or its first in it, and
  // its last one in it.
  MaybeFigure odometer_gain;
  std::optional<double> ambient_c;
  Throughput through;
};
// Every local month from the first record in [from, to) to the last.
[[nodiscard]] std::vector<MonthThroughput> throughput_by_month(const VanParts& parts, UtcTime from,
                                                               UtcTime to, const Zone& zone);

}  // namespace packmile
