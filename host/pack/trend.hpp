// The slope of monthly values, or why none is told yet.
//
// Input     one value a month, of like conditions.
// Method    Theil-Sen with Kendall's interval from 8 months on, weighted least
//           squares below; half-widths are widened by the persistence of the
//           residuals.
// Refuses   below 12 months, unless two like seasons are there (three calendar
//           months in each of two years): one season's swing looks like a trend.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "calendar/zone.hpp"
#include "figure.hpp"
#include "pack/robust.hpp"

namespace packmile {

// Months since the year 0, by the clocks of the zone (of the depot; absent: UTC); times
// outside 0..9999 count as its ends.
[[nodiscard]] int month_of(UtcTime time, const std::optional<Zone>& zone);
[[nodiscard]] UtcTime start_of_month(int month, const std::optional<Zone>& zone);

struct MonthValue {
  int month = 0;
  double x = 0;  // what it is put against
  double y = 0;
  double u_y = 0;  // 1 sd, random; 0: all alike
};

struct Trend {
  double slope = 0;
  double low = 0;  // 95 %
  double high = 0;
  double intercept = 0;
  double residual_sd = 0;  // robust
  double widening = 1;
  std::size_t n_months = 0;
  // Whether it falls or rises at all, in rank; absent where all are tied.
  std::optional<Kendall> kendall;
  bool weak = false;  // below 24 months: seasons may still show through
  [[nodiscard]] double at(double x) const { return intercept + slope * x; }
};

struct TrendOrWhy {
  std::optional<Trend> trend;
  std::string why;
  // The scatter about a line, also where the slope is refused (3 months on).
  std::optional<double> residual_sd;
};
[[nodiscard]] TrendOrWhy fit_trend(std::span<const MonthValue> values);

// Two like seasons, or twelve months.
[[nodiscard]] bool enough_seasons(std::span<const MonthValue> values);

}  // namespace packmile
