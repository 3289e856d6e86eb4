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

// The sum that is minimised, at one slope, with its best offset.
class Misfit {
 public:
  Misfit(std::span<const PointWithErrors> points, bool with_offset)
      : points_(points), with_offset_(with_offset), weights_(points.size(), 1.0) {}

  std::vector<double>& weights() { return weights_; }

  [[nodiscard]] double offset_at(double slope) const {
    if (!with_offset_) return 0;
    double across = 0;
    double squares = 0;
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const PointWithErrors& p = points_[i];
      const double w = weights_[i] / variance(p, slope);
      across += w * p.t * (p.y - slope * p.x);
      squares += w * p.t * p.t;
    }
    return squares > 0 ? across / squares : 0;
  }

  [[nodiscard]] double chi2(double slope) const {
    const double offset = offset_at(slope);
    double sum = 0;
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const double z = residual_sds(points_[i], slope, offset);
      sum += weights_[i] * z * z;
    }
    return sum;
  }

  // d chi2 / d slope along the best offset, which needs no term of its own there.
  [[nodiscard]] double gradient(double slope) const {
    const double offset = offset_at(slope);
    double sum = 0;
    for (std::size_t i = 0; i < points_.size(); ++i) {
      const PointWithErrors& p = points_[i];
      const double v = variance(p, slope);
      const double r = p.y - slope * p.x - offset * p.t;
      sum -= weights_[i] * 2 * (p.x * r / v + slope * p.u_x * p.u_x * r * r / (v * v));
    }
    return sum;
  }

  struct Widths {
    double u_slope = 0;
    double u_offset = 0;
    bool known = false;
  };
  // From the curvature of the sum, every point with weight 1.
  [[nodiscard]] Widths widths(double slope) const {
    const double offset = offset_at(slope);
    double ss = 0, so = 0, oo = 0;  // second derivatives: slope, offset
    for (const PointWithErrors& p : points_) {
      const double v = variance(p, slope);
      const double r = p.y - slope * p.x - offset * p.t;
      const double c = p.u_x * p.u_x;
      ss += 2 * p.x * p.x / v + 8 * slope * c * p.x * r / (v * v) - 2 * c * r * r / (v * v) +
            8 * slope * slope * c * c * r * r / (v * v * v);
      so += 2 * p.x * p.t / v + 4 * p.t * r * slope * c / (v * v);
      oo += 2 * p.t * p.t / v;
    }
    Widths widths;
    if (!with_offset_) {
      widths.known = ss > 0;
      if (widths.known) widths.u_slope = std::sqrt(2 / ss);
      return widths;
    }
    const double determinant = ss * oo - so * so;
    widths.known = determinant > 0 && ss > 0;
    if (widths.known) {
      widths.u_slope = std::sqrt(2 * oo / determinant);
      widths.u_offset = std::sqrt(2 * ss / determinant);
    }
    return widths;
  }

  [[nodiscard]] static double variance(const PointWithErrors& p, double slope) {
    return p.u_y * p.u_y + slope * slope * p.u_x * p.u_x;
  }
  [[nodiscard]] static double residual_sds(const PointWithErrors& p, double slope, double offset) {
    return (p.y - slope * p.x - offset * p.t) / std::sqrt(variance(p, slope));
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
  bool with_offset_;
  std::vector<double> weights_;
};

// The scatter in units of the points' own sd; 0 of none.
double scatter_of(std::span<const PointWithErrors> points, double slope, double offset) {
  std::vector<double> sizes;
  for (const PointWithErrors& p : points) {
    sizes.push_back(std::abs(Misfit::residual_sds(p, slope, offset)));
  }
  return kSdPerMedianSize * median_of(std::move(sizes));
}

std::optional<Proportion> fit(std::span<const PointWithErrors> all, bool with_offset,
                              Outliers outliers) {
  const std::size_t parameters = with_offset ? 2 : 1;
  if (all.size() < parameters || !std::all_of(all.begin(), all.end(), sound)) return std::nullopt;
  std::vector<double> ratios;
  for (const PointWithErrors& p : all) {
    if (p.x != 0) ratios.push_back(p.y / p.x);
  }
  double start = median_of(std::move(ratios));
  if (!(start > 0)) return std::nullopt;

  Proportion result;
  result.used.assign(all.size(), true);
  std::vector<PointWithErrors> points(all.begin(), all.end());
  if (outliers == Outliers::rejected && all.size() >= kLeastForOutliers) {
    double offset = 0;
    if (with_offset) {
      // The ratio alone would take fast and slow points for outliers of each other.
      const Misfit first{all, true};
      const auto slope = first.minimum(start);
      if (!slope) return std::nullopt;
      start = *slope;
      offset = first.offset_at(start);
    }
    const double scatter = std::max(1.0, scatter_of(all, start, offset));
    points.clear();
    for (std::size_t i = 0; i < all.size(); ++i) {
      result.used[i] =
          std::abs(Misfit::residual_sds(all[i], start, offset)) <= kOutlierSds * scatter;
      if (result.used[i]) points.push_back(all[i]);
    }
  }
  if (points.size() < parameters) return std::nullopt;

  Misfit misfit{points, with_offset};
  auto slope = misfit.minimum(start);
  if (!slope) return std::nullopt;
  double scatter = 1;
  if (outliers == Outliers::rejected && points.size() >= kLeastForOutliers) {
    for (int round = 0; round < kHuberRounds; ++round) {
      const double offset = misfit.offset_at(*slope);
      scatter = std::max(1.0, scatter_of(points, *slope, offset));
      for (std::size_t i = 0; i < points.size(); ++i) {
        misfit.weights()[i] =
            huber_weight(Misfit::residual_sds(points[i], *slope, offset) / scatter);
      }
      const auto next = misfit.minimum(start);
      if (!next) return std::nullopt;
      const bool settled = std::abs(*next - *slope) <= kHuberSettled * *next;
      slope = next;
      if (settled) break;
    }
  }
  const double offset = misfit.offset_at(*slope);
  const Misfit::Widths widths = misfit.widths(*slope);
  if (!widths.known) return std::nullopt;
  result.slope = *slope;
  result.n_used = points.size();
  result.degrees = static_cast<double>(points.size() - parameters);
  if (with_offset) result.offset = offset;
  // Huber's variance: clipped squares over the share that is not clipped; with
  // nothing clipped it is chi2 / degrees.
  double clipped_squares = 0;
  double whole = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double z = Misfit::residual_sds(points[i], *slope, offset);
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
    const double few = 1 + static_cast<double>(parameters) * (1 - share) / (n * share);
    widening = std::max(1.0, few * std::sqrt(clipped_squares / result.degrees) / share);
  }
  result.u_slope_told = widths.u_slope;
  result.u_slope = widths.u_slope * widening;
  result.u_offset = widths.u_offset * widening;
  return result;
}

}  // namespace

double Proportion::factor_95() const {
  return u_slope > u_slope_told ? student_t_95(degrees) : kZ95;
}

std::optional<Proportion> fit_proportion(std::span<const PointWithErrors> points,
                                         Outliers outliers) {
  return fit(points, false, outliers);
}

std::optional<Proportion> fit_proportion_and_offset(std::span<const PointWithErrors> points,
                                                    Outliers outliers) {
  if (points.size() < 3) return std::nullopt;
  double least = 0, greatest = 0;
  for (const PointWithErrors& p : points) {
    if (!(p.x > 0) || !(p.t > 0)) return std::nullopt;
    const double ratio = p.t / p.x;
    if (least == 0 || ratio < least) least = ratio;
    greatest = std::max(greatest, ratio);
  }
  if (!(greatest >= kOffsetLeastRatio * least)) return std::nullopt;
  return fit(points, true, outliers);
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
