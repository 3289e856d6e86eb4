// When the energy of a charge came: a line of few corners.
//
// Input     cumulative energy, moment by moment.
// Method    a corner is set where no straight line from the last one stays within
//           the tolerance of all points since (swinging door, J. Bristol 1987, from
//           memory).
// Bounded   one corner and a range of slopes while it runs.
#pragma once
#include <cstdint>
#include <vector>

#include "energy/integrate.hpp"
#include "energy/van_account.hpp"

namespace packmile {

class ChargeCurve {
 public:
  // after_ms rises.
  void add(std::int64_t after_ms, double kwh);
  [[nodiscard]] std::vector<CurvePoint> finish();

 private:
  std::vector<CurvePoint> corners_;
  CurvePoint last_;
  double least_slope_ = 0, greatest_slope_ = 0;  // from the last corner, kWh per ms
  bool open_ = false;                            // there are points behind it
};

// Of rows from..to, both included: what went into the pack.
[[nodiscard]] std::vector<CurvePoint> charge_curve(const PackRows& rows, std::size_t from,
                                                   std::size_t to);

}  // namespace packmile
