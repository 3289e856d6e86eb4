// Straight lines through points that are uncertain in both directions.
//
// Method    chi2 = sum (y - slope x)^2 / (u_y^2 + slope^2 u_x^2) is
//           minimised exactly; least squares of y on x alone would come out low,
//           the more so the less certain x is. A line with an intercept by
//           York's iteration (York 1966; York et al. 2004).
// Robust    points further than 4 robust sd from the median ratio are left out
//           once and counted; the others get Huber's weights.
#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace packmile {

struct PointWithErrors {
  double x = 0;
  double y = 0;
  double u_x = 0;  // 1 sd; not both 0
  double u_y = 0;
  double t = 0;  // what a sensor's offset is multiplied by; no part of the line
};

struct Proportion {
  double slope = 0;
  // 1 sd. `told`: as the points' own u say; u_slope: widened where they scatter
  // more than that.
  double u_slope = 0;
  double u_slope_told = 0;
  double chi2 = 0;
  double degrees = 0;      // points used - 1
  std::vector<bool> used;  // as the points were given; all true unless robust
  std::size_t n_used = 0;

  // The 95 % factor: Student's where the width comes from the scatter.
  [[nodiscard]] double factor_95() const;
};

enum class Outliers : bool { kept, rejected };

// y = slope x, slope > 0. nullopt: no point, values that are no numbers, or no
// positive slope fits.
[[nodiscard]] std::optional<Proportion> fit_proportion(std::span<const PointWithErrors> points,
                                                       Outliers outliers = Outliers::kept);

// y = intercept + slope x.
struct ErrorLine {
  double slope = 0;
  double intercept = 0;
  double u_slope = 0;  // 1 sd, as the points' own u say
  double u_intercept = 0;
  double chi2 = 0;
  double degrees = 0;  // n - 2
  // What both u are to be multiplied by where the points scatter more: at least 1.
  [[nodiscard]] double widening() const;
};
// At least 3 points; nullopt also where the iteration does not settle.
[[nodiscard]] std::optional<ErrorLine> fit_line_with_errors(
    std::span<const PointWithErrors> points);

}  // namespace packmile
