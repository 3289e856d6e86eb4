// Wear by a hand gauge: how fast a tread or a pad gets thinner, and how far it is
// to a limit.
//
// Input     readings of one tyre or one set of pads, against the odometer.
// Output    mm per 1,000 km, and the km at which a limit is reached.
// Method    least squares; the interval of the distance is the inverse regression
//           band (Fieller). Below five readings their scatter says little: the
//           gauge's own error is taken, widened where they scatter more.
// Refuses   one reading; wear that the gauge cannot tell from none (5 %).
// Caution   it informs. Law and a competent inspection decide: depth is least
//           where it was not measured.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "duty/due.hpp"
#include "figure.hpp"
#include "notes/van_notes.hpp"
#include "pack/robust.hpp"

namespace packmile {

// Great Britain: Road Vehicles (Construction and Use) Regulations 1986 (SI
// 1986/1078) regulation 27: over the central three quarters of the breadth and all
// around. As its public summaries have it; the clause itself was not read. Other
// countries have laws of their own.
inline constexpr double kLegalTreadMm = 1.6;       // goods vehicles to 3,500 kg
inline constexpr double kLegalTreadHeavyMm = 1.0;  // above
inline constexpr double kHeavyAboveKg = 3'500;     // plated gross weight
inline constexpr char kLegalTreadSource[] =
    "1.6 mm to 3,500 kg plated, 1.0 mm above: Great Britain, SI 1986/1078 regulation 27, by its "
    "public summaries; other countries have laws of their own";
// Where fleet.toml names no limit: tyres and pads are planned in before they are
// down to the law (common practice, no source).
inline constexpr double kPlanTreadMm = 3.0;
inline constexpr double kPlanPadMm = 3.0;
[[nodiscard]] constexpr double legal_tread_mm(std::optional<double> plated_kg) {
  return plated_kg && *plated_kg > kHeavyAboveKg ? kLegalTreadHeavyMm : kLegalTreadMm;
}

struct DepthReading {
  std::uint32_t id = 0;  // of its note; 0: told from those before it, not measured
  LocalDay day;
  std::optional<double> km;  // odometer; absent: nobody noted it
  double depth_mm = 0;
  double gauge_u_mm = 0;  // 1 sd of one reading
  double step_mm = 0;     // of the last digit
};

struct Wear {
  std::vector<DepthReading> readings;  // that it rests on; all have km
  LineFit line;                        // depth over km
  Figure mm_per_1000_km;               // above 0
};

struct WearOrWhy {
  std::optional<Wear> wear;
  std::string why;
};

// Whether the later one is of another tyre, or of other pads: a greater rise than
// gauges err by.
[[nodiscard]] bool is_rise(const DepthReading& before, const DepthReading& after);

// What lies before the last rise is of another tyre, or of other pads.
[[nodiscard]] std::span<const DepthReading> since_rise(std::span<const DepthReading> readings);

// When a tyre came to another axle, which wears it at another rate.
struct WearBorder {
  LocalDay day;
  std::optional<double> km;  // odometer; absent: not known
  std::size_t readings = 0;  // so many were taken before it
};
// Of one tyre in order of days, what tells its wear since the last border: a reading
// of that day, else the depth that the wear before it tells for it, then the readings
// since. Without borders: all.
[[nodiscard]] std::vector<DepthReading> since_border(std::span<const DepthReading> readings,
                                                     std::span<const WearBorder> borders);

// readings: of one tyre, in order of days. What lies before a rise is left out.
[[nodiscard]] WearOrWhy fit_wear(std::span<const DepthReading> readings);

// From odometer `now_km` to where the line is down to limit_mm. All 0 where it is
// there already.
struct KmLeft {
  double likely = 0;
  double low = 0;              // 95 %
  std::optional<double> high;  // absent: the wear is too uncertain for one
  [[nodiscard]] Left left() const;
};
[[nodiscard]] KmLeft km_to_limit(const Wear& wear, double limit_mm, double now_km);

}  // namespace packmile
