// Straight lines that a few wild points do not turn, and how sure they are.
//
// Method    Theil-Sen with Kendall's interval (Sen 1968); least squares with
//           weights; Huber's weights; Fieller's interval for a crossing.
// Refuses   by std::nullopt: too few points, no spread in x, values that are no
//           numbers, or more than kMostPoints.
#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace packmile {

// A pair slope each makes 8 bytes: 100 MB at this many points. A van's life in
// months has a few hundred.
inline constexpr std::size_t kMostPoints = 5'000;

// The middle one; mean of the two middle ones of an even number. 0 of none.
[[nodiscard]] double median_of(std::vector<double> values);
// A median of many values is so much less sure than their mean: sqrt(pi/2).
inline constexpr double kMedianFactor = 1.2533141373155001;
// Standard deviation of a normal distribution with the same median absolute
// deviation from the median; 0 of none.
[[nodiscard]] double robust_sd(std::span<const double> values);

// Weight 1 up to `limit` standard deviations, limit/|residual| beyond.
// 1.345: 95 % efficient on normal residuals (Huber 1981, from memory).
inline constexpr double kHuberLimit = 1.345;
[[nodiscard]] double huber_weight(double residual_sds, double limit = kHuberLimit);

// y = intercept + slope * x.
struct TheilSen {
  double slope = 0;
  double intercept = 0;  // median(y) - slope * median(x)
  double low = 0;        // 95 % of the slope
  double high = 0;
};
[[nodiscard]] std::optional<TheilSen> fit_theil_sen(std::span<const double> x,
                                                    std::span<const double> y);

// Kendall's rank correlation, with ties (tau-b), and the probability of one at
// least as strong where there is none: exact up to 33 points without ties.
struct Kendall {
  double tau = 0;
  double probability = 1;
};
[[nodiscard]] std::optional<Kendall> kendall_of(std::span<const double> x,
                                                std::span<const double> y);

struct LineFit {
  double slope = 0;
  double intercept = 0;
  double u_slope = 0;  // 1 sd, from the residuals
  double u_intercept = 0;
  double residual_sd = 0;  // of a point of weight 1
  double r_squared = 0;
  double degrees = 0;  // n - 2
  double mean_x = 0;   // weighted
  double sum_weights = 0;
  double spread_x = 0;  // sum of weight * (x - mean_x)^2

  [[nodiscard]] double at(double x) const { return intercept + slope * x; }
  // 1 sd of the line itself at x.
  [[nodiscard]] double u_at(double x) const;
  // 95 % half-width for one more point of this weight at x.
  [[nodiscard]] double prediction_half(double x, double weight = 1) const;
};
// Least squares. weights: empty, or one each, > 0, as 1/sd^2 or in proportion.
// At least 3 points.
[[nodiscard]] std::optional<LineFit> fit_line(std::span<const double> x, std::span<const double> y,
                                              std::span<const double> weights = {});
// Through 0: slope, u_slope, residual_sd and degrees (n - 1) hold. 2 points.
[[nodiscard]] std::optional<LineFit> fit_line_through_zero(std::span<const double> x,
                                                           std::span<const double> y);

// How much wider an interval must be because neighbouring residuals resemble
// each other (season): sqrt((1 + r)/(1 - r)).
struct Persistence {
  double lag_1 = 0;  // corrected for its bias, 0..0.9
  double widening = 1;
};
// residuals: of a straight line, in order of x.
[[nodiscard]] Persistence persistence_of(std::span<const double> residuals);

// Where the line reaches a limit.
struct Crossing {
  double at = 0;
  // 95 %; absent where the slope is too uncertain for any bound ("not yet").
  std::optional<double> low, high;
  double g = 0;         // (t * u_slope / slope)^2; bounded below 1
  bool beyond = false;  // further than 3 times the observed span from its start
};
// first_x..last_x: what was observed. widening: of Persistence. nullopt: the
// line does not reach the limit (no slope, or it lies behind).
[[nodiscard]] std::optional<Crossing> find_crossing(const LineFit& line, double limit,
                                                    double first_x, double last_x,
                                                    double widening = 1);

// The least slope (per unit of x) that points of this scatter would show: two-sided
// 5 %, power 80 %. nullopt: fewer than 3 points or no spread.
[[nodiscard]] std::optional<double> smallest_detectable_slope(std::span<const double> x, double sd);

}  // namespace packmile
