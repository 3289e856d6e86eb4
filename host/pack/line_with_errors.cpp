#include "pack/line_with_errors.hpp"

#include <algorithm>
#include <cmath>

#include "figure.hpp"
#include "pack/robust.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

// chi2 has one minimum in practice; where it has two the scan takes the lower.
// The slope is looked for within this factor of the median ratio.
constexpr double kWidest = 64;
constexpr int kScanSteps = 96;
constexpr int kBisections = 100;
constexpr double kOutlierSds = 4;
constexpr std::size_t kLeastForOutliers = 4;
constexpr int kHuberRounds = 50;
constexpr double kHuberSettled = 1e-10;
constexpr int kYorkRounds = 500;
constexpr double kYorkSettled = 1e-14;
constexpr double kSdPerMedianSize = 1.4826022185056018;

bool sound(const PointWithErrors& p) {
  return std::isfinite(p.x) && std::isfinite(p.y) && std::isfinite(p.t) && p.u_x >= 0 &&
         p.u_y >= 0 && std::isfinite(p.u_x) && std::isfinite(p.u_y) && p.u_x + p.u_y > 0;
}

// The sum that is minimised, at one slope.
class Misfit {
 public:
  explicit Misfit(std::span<const PointWithErrors> points)
      : points_(points), weights_(points.size(), 1.0) {}

  std::vector<double>& weights() { return weights_; }

  [[nodiscard]] double chi2(double slope) const {
    double sum = 0;
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const double z = residual_sds(points_[i], slope);
      sum += weights_[i] * z * z;
    }
    return sum;
  }

  [[nodiscard]] double gradient(double slope) const {
    double sum = 0;
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const PointWithErrors& p = points_[i];
      const double v = variance(p, slope);
      const double r = p.y - slope * p.x;
      sum -= weights_[i] * 2 * (p.x * r / v + slope * p.u_x * p.u_x * r * r / (v * v));
    }
    return sum;
  }

  // 1 sd of the slope from the curvature of the sum, every point with weight 1;
  // nullopt: it has none there.
  [[nodiscard]] std::optional<double> u_slope(double slope) const {
    double curvature = 0;
    for (const PointWithErrors& p : points_) {
      const double v = variance(p, slope);
      const double r = p.y - slope * p.x;
      const double c = p.u_x * p.u_x;
      curvature += 2 * p.x * p.x / v + 8 * slope * c * p.x * r / (v * v) - 2 * c * r * r / (v * v) +
                   8 * slope * slope * c * c * r * r / (v * v * v);
    }
    if (!(curvature > 0)) return std::nullopt;
    return std::sqrt(2 / curvature);
  }

  [[nodiscard]] static double variance(const PointWithErrors& p, double slope) {
    return p.u_y * p.u_y + slope * slope * p.u_x * p.u_x;
  }
  [[nodiscard]] static double residual_sds(const PointWithErrors& p, double slope) {
    return (p.y - slope * p.x) / std::sqrt(variance(p, slope));
  }

  // nullopt: the sum falls to the end of what is looked at.
  [[nodiscard]] std::optional<double> minimum(double start) const {
    const auto slope_of = [&](int step) {
      return start * std::pow(kWidest, 2.0 * step / kScanSteps - 1);
    };
    int best = 0;
    double least = chi2(slope_of(0));
    for (int step = 1; step <= kScanSteps; ++step) {
      const double sum = chi2(slope_of(step));
      if (sum < least) {
        least = sum;
        best = step;
      }
    }
    if (best == 0 || best == kScanSteps || !std::isfinite(least)) return std::nullopt;
    double low = slope_of(best - 1);
    double high = slope_of(best + 1);
    for (int i = 0; i < kBisections; ++i) {
      const double middle = (low + high) / 2;
      (gradient(middle) < 0 ? low : high) = middle;
    }
    return (low + high) / 2;
  }

 private:
  std::span<const PointWithErrors> points_;
  std::vector<double> weights_;
};

// The scatter in units of the points' own sd; 0 of none.
double scatter_of(std::span<const PointWithErrors> points, double slope) {
  std::vector<double> sizes;
  for (const PointWithErrors& p : points) {
    sizes.push_back(std::abs(Misfit::residual_sds(p, slope)));
  }
  return kSdPerMedianSize * median_of(std::move(sizes));
}

}  // namespace

double Proportion::factor_95() const {
  return u_slope > u_slope_told ? student_t_95(degrees) : kZ95;
}

std::optional<Proportion> fit_proportion(std::span<const PointWithErrors> all, Outliers outliers) {
  if (all.empty() || !std::all_of(all.begin(), all.end(), sound)) return std::nullopt;
  std::vector<double> ratios;
  for (const PointWithErrors& p : all) {
    if (p.x != 0) ratios.push_back(p.y / p.x);
  }
  const double start = median_of(std::move(ratios));
  if (!(start > 0)) return std::nullopt;

  Proportion result;
  result.used.assign(all.size(), true);
  std::vector<PointWithErrors> points(all.begin(), all.end());
  if (outliers == Outliers::rejected && all.size() >= kLeastForOutliers) {
    const double scatter = std::max(1.0, scatter_of(all, start));
    points.clear();
    for (std::size_t i = 0; i < all.size(); ++i) {
      result.used[i] = std::abs(Misfit::residual_sds(all[i], start)) <= kOutlierSds * scatter;
      if (result.used[i]) points.push_back(all[i]);
    }
  }
  if (points.empty()) return std::nullopt;

  Misfit misfit{points};
  auto slope = misfit.minimum(start);
  if (!slope) return std::nullopt;
  double scatter = 1;
  if (outliers == Outliers::rejected && points.size() >= kLeastForOutliers) {
    for (int round = 0; round < kHuberRounds; ++round) {
      scatter = std::max(1.0, scatter_of(points, *slope));
      for (std::size_t i = 0; i < points.size(); ++i) {
        misfit.weights()[i] = huber_weight(Misfit::residual_sds(points[i], *slope) / scatter);
      }
      const auto next = misfit.minimum(start);
      if (!next) return std::nullopt;
      const bool settled = std::abs(*next - *slope) <= kHuberSettled * *next;
      slope = next;
      if (settled) break;
    }
  }
  const auto u_slope = misfit.u_slope(*slope);
  if (!u_slope) return std::nullopt;
  result.slope = *slope;
  result.n_used = points.size();
  result.degrees = static_cast<double>(points.size() - 1);
  // Huber's variance: clipped squares over the share that is not clipped; with
  // nothing clipped it is chi2 / degrees.
  double clipped_squares = 0;
  double whole = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double z = Misfit::residual_sds(points[i], *slope);
    result.chi2 += z * z;
    const double weight = misfit.weights()[i];
    clipped_squares += weight * weight * z * z;
    whole += weight >= 1;
  }
  double widening = 1;
  if (result.degrees > 0 && whole > 0) {
    const auto n = static_cast<double>(points.size());
    const double share = whole / n;
    // For few points: Huber 1973, from memory.
    const double few = 1 + (1 - share) / (n * share);
    widening = std::max(1.0, few * std::sqrt(clipped_squares / result.degrees) / share);
  }
  result.u_slope_told = *u_slope;
  result.u_slope = *u_slope * widening;
  return result;
}

double ErrorLine::widening() const {
  return degrees > 0 ? std::max(1.0, std::sqrt(chi2 / degrees)) : 1.0;
}

std::optional<ErrorLine> fit_line_with_errors(std::span<const PointWithErrors> points) {
  if (points.size() < 3 || !std::all_of(points.begin(), points.end(), sound)) return std::nullopt;
  std::vector<double> x, y;
  for (const PointWithErrors& p : points) {
    x.push_back(p.x);
    y.push_back(p.y);
  }
  const auto start = fit_line(x, y);
  if (!start) return std::nullopt;
  double slope = start->slope;
  double mean_x = 0, mean_y = 0, weight_sum = 0;
  std::vector<double> weights(points.size()), adjusted(points.size());
  bool settled = false;
  for (int round = 0; round < kYorkRounds && !settled; ++round) {
    weight_sum = mean_x = mean_y = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
      const double v = Misfit::variance(points[i], slope);
      if (!(v > 0)) return std::nullopt;
      weights[i] = 1 / v;
      weight_sum += weights[i];
      mean_x += weights[i] * x[i];
      mean_y += weights[i] * y[i];
    }
    mean_x /= weight_sum;
    mean_y /= weight_sum;
    double above = 0, below = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
      const PointWithErrors& p = points[i];
      const double dx = x[i] - mean_x;
      const double dy = y[i] - mean_y;
      adjusted[i] = weights[i] * (dx * p.u_y * p.u_y + slope * dy * p.u_x * p.u_x);
      above += weights[i] * adjusted[i] * dy;
      below += weights[i] * adjusted[i] * dx;
    }
    if (below == 0 || !std::isfinite(above / below)) return std::nullopt;
    const double next = above / below;
    settled = std::abs(next - slope) <= kYorkSettled * std::abs(next);
    slope = next;
  }
  if (!settled) return std::nullopt;
  ErrorLine line;
  line.slope = slope;
  line.intercept = mean_y - slope * mean_x;
  line.degrees = static_cast<double>(points.size()) - 2;
  double mean_adjusted = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    adjusted[i] += mean_x;
    mean_adjusted += weights[i] * adjusted[i];
    const double r = y[i] - line.intercept - slope * x[i];
    line.chi2 += weights[i] * r * r;
  }
  mean_adjusted /= weight_sum;
  double spread = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double away = adjusted[i] - mean_adjusted;
    spread += weights[i] * away * away;
  }
  if (!(spread > 0)) return std::nullopt;
  line.u_slope = 1 / std::sqrt(spread);
  line.u_intercept =
      std::sqrt(1 / weight_sum + mean_adjusted * mean_adjusted * line.u_slope * line.u_slope);
  return line;
}

}  // namespace packmile
