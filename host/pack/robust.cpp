#include "pack/robust.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

#include "figure.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

// The normal distribution's sd over its median absolute deviation.
constexpr double kSdPerMad = 1.4826022185056018;
// scipy's border between the exact distribution of Kendall's S and the normal one.
constexpr std::size_t kExactKendall = 33;
// Least shown power of the smallest detectable slope.
constexpr double kPower = 0.8;
constexpr double kFurthestSpans = 3;
constexpr double kLag1Most = 0.9;

bool usable(std::span<const double> x, std::span<const double> y, std::size_t least) {
  const auto finite = [](double v) { return std::isfinite(v); };
  return x.size() == y.size() && x.size() >= least && x.size() <= kMostPoints &&
         std::all_of(x.begin(), x.end(), finite) && std::all_of(y.begin(), y.end(), finite);
}

// Sums over groups of equal values, which Kendall's variance needs.
struct Ties {
  double pairs = 0;    // k(k-1)/2
  double triples = 0;  // k(k-1)(k-2)
  double wide = 0;     // k(k-1)(2k+5)
};

Ties ties_of(std::span<const double> values) {
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  Ties ties;
  for (std::size_t from = 0; from < sorted.size();) {
    std::size_t past = from;
    while (past < sorted.size() && sorted[past] == sorted[from]) ++past;
    const auto k = static_cast<double>(past - from);
    ties.pairs += k * (k - 1) / 2;
    ties.triples += k * (k - 1) * (k - 2);
    ties.wide += k * (k - 1) * (2 * k + 5);
    from = past;
  }
  return ties;
}

// Two-sided probability of at most `swaps` discordant pairs among n without ties
// (or as many concordant ones): Kendall 1970, by the recursion over n.
double exact_probability(std::size_t n, std::int64_t swaps) {
  const auto all = static_cast<std::int64_t>(n * (n - 1) / 2);
  const std::int64_t c = std::min(swaps, all - swaps);
  if (2 * c == all) return 1;
  std::vector<double> ways(static_cast<std::size_t>(c) + 1, 0.0);
  ways[0] = 1;
  double orders = 1;
  for (std::size_t j = 2; j <= n; ++j) {
    orders *= static_cast<double>(j);
    std::vector<double> next(ways.size(), 0.0);
    double window = 0;
    for (std::size_t k = 0; k < ways.size(); ++k) {
      window += ways[k];
      if (k >= j) window -= ways[k - j];
      next[k] = window;
    }
    ways = std::move(next);
  }
  double sum = 0;
  for (const double w : ways) sum += w;
  return std::min(1.0, 2 * sum / orders);
}

}  // namespace

double median_of(std::vector<double> values) {
  if (values.empty()) return 0;
  const std::size_t half = values.size() / 2;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(half);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return (*std::max_element(values.begin(), middle) + *middle) / 2;
}

double robust_sd(std::span<const double> values) {
  const double middle = median_of({values.begin(), values.end()});
  std::vector<double> away;
  away.reserve(values.size());
  for (const double v : values) away.push_back(std::abs(v - middle));
  return kSdPerMad * median_of(std::move(away));
}

double huber_weight(double residual_sds, double limit) {
  const double size = std::abs(residual_sds);
  return size <= limit ? 1 : limit / size;
}

std::optional<TheilSen> fit_theil_sen(std::span<const double> x, std::span<const double> y) {
  if (!usable(x, y, 2)) return std::nullopt;
  std::vector<double> slopes;
  slopes.reserve(x.size() * (x.size() - 1) / 2);
  for (std::size_t i = 0; i < x.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const double dx = x[i] - x[j];
      if (dx != 0) slopes.push_back((y[i] - y[j]) / dx);
    }
  }
  if (slopes.empty()) return std::nullopt;
  std::sort(slopes.begin(), slopes.end());
  TheilSen fit;
  const std::size_t half = slopes.size() / 2;
  fit.slope = slopes.size() % 2 == 1 ? slopes[half] : (slopes[half - 1] + slopes[half]) / 2;
  fit.intercept = median_of({y.begin(), y.end()}) - fit.slope * median_of({x.begin(), x.end()});

  // Sen 1968, (2.6).
  const auto n = static_cast<double>(x.size());
  const double variance = (n * (n - 1) * (2 * n + 5) - ties_of(x).wide - ties_of(y).wide) / 18;
  if (variance < 0) return std::nullopt;
  const auto count = static_cast<double>(slopes.size());
  const double reach = kZ95 * std::sqrt(variance);
  // nearbyint rounds halves to even, as the reference implementation does.
  const double low = std::max(std::nearbyint((count - reach) / 2) - 1, 0.0);
  const double high = std::min(std::nearbyint((count + reach) / 2), count - 1);
  fit.low = slopes[static_cast<std::size_t>(low)];
  fit.high = slopes[static_cast<std::size_t>(high)];
  return fit;
}

std::optional<Kendall> kendall_of(std::span<const double> x, std::span<const double> y) {
  if (!usable(x, y, 2)) return std::nullopt;
  std::int64_t concordant = 0;
  std::int64_t discordant = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const int sign_x = (x[i] > x[j]) - (x[i] < x[j]);
      const int sign_y = (y[i] > y[j]) - (y[i] < y[j]);
      concordant += sign_x * sign_y > 0;
      discordant += sign_x * sign_y < 0;
    }
  }
  const auto n = static_cast<double>(x.size());
  const double all = n * (n - 1) / 2;
  const Ties tx = ties_of(x);
  const Ties ty = ties_of(y);
  if (tx.pairs >= all || ty.pairs >= all) return std::nullopt;
  const auto s = static_cast<double>(concordant - discordant);
  Kendall kendall;
  kendall.tau = std::clamp(s / std::sqrt(all - tx.pairs) / std::sqrt(all - ty.pairs), -1.0, 1.0);
  const bool untied = tx.pairs == 0 && ty.pairs == 0;
  if (untied && x.size() <= kExactKendall) {
    kendall.probability = exact_probability(x.size(), discordant);
    return kendall;
  }
  // n is at least 3 here: two points with a tie are all tied.
  const double m = n * (n - 1);
  const double variance = (m * (2 * n + 5) - tx.wide - ty.wide) / 18 + 2 * tx.pairs * ty.pairs / m +
                          tx.triples * ty.triples / (9 * m * (n - 2));
  kendall.probability = std::erfc(std::abs(s) / std::sqrt(2 * variance));
  return kendall;
}

double LineFit::u_at(double x) const {
  const double away = x - mean_x;
  return residual_sd * std::sqrt(1 / sum_weights + away * away / spread_x);
}

double LineFit::prediction_half(double x, double weight) const {
  return student_t_95(degrees) * std::hypot(u_at(x), residual_sd / std::sqrt(weight));
}

std::optional<LineFit> fit_line(std::span<const double> x, std::span<const double> y,
                                std::span<const double> weights) {
  if (!usable(x, y, 3)) return std::nullopt;
  if (!weights.empty() && weights.size() != x.size()) return std::nullopt;
  const auto weight = [&](std::size_t i) { return weights.empty() ? 1.0 : weights[i]; };
  LineFit fit;
  double mean_y = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double w = weight(i);
    if (!(w > 0) || !std::isfinite(w)) return std::nullopt;
    fit.sum_weights += w;
    fit.mean_x += w * x[i];
    mean_y += w * y[i];
  }
  fit.mean_x /= fit.sum_weights;
  mean_y /= fit.sum_weights;
  double across = 0;
  double spread_y = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double dx = x[i] - fit.mean_x;
    const double dy = y[i] - mean_y;
    fit.spread_x += weight(i) * dx * dx;
    across += weight(i) * dx * dy;
    spread_y += weight(i) * dy * dy;
  }
  if (!(fit.spread_x > 0)) return std::nullopt;
  fit.slope = across / fit.spread_x;
  fit.intercept = mean_y - fit.slope * fit.mean_x;
  double squares = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double r = y[i] - mean_y - fit.slope * (x[i] - fit.mean_x);
    squares += weight(i) * r * r;
  }
  fit.degrees = static_cast<double>(x.size()) - 2;
  fit.residual_sd = std::sqrt(squares / fit.degrees);
  fit.u_slope = fit.residual_sd / std::sqrt(fit.spread_x);
  fit.u_intercept = fit.u_at(0);
  fit.r_squared = spread_y > 0 ? 1 - squares / spread_y : 1;
  return fit;
}

std::optional<LineFit> fit_line_through_zero(std::span<const double> x, std::span<const double> y) {
  if (!usable(x, y, 2)) return std::nullopt;
  LineFit fit;
  double across = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    fit.spread_x += x[i] * x[i];
    across += x[i] * y[i];
  }
  if (!(fit.spread_x > 0)) return std::nullopt;
  fit.slope = across / fit.spread_x;
  double squares = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double r = y[i] - fit.slope * x[i];
    squares += r * r;
  }
  fit.degrees = static_cast<double>(x.size()) - 1;
  // The line has no error at 0 and grows from there: u_at() says so.
  fit.sum_weights = std::numeric_limits<double>::infinity();
  fit.residual_sd = std::sqrt(squares / fit.degrees);
  fit.u_slope = fit.residual_sd / std::sqrt(fit.spread_x);
  return fit;
}

Persistence persistence_of(std::span<const double> residuals) {
  Persistence persistence;
  const auto n = static_cast<double>(residuals.size());
  double squares = 0;
  double products = 0;
  for (std::size_t i = 0; i < residuals.size(); ++i) {
    squares += residuals[i] * residuals[i];
    if (i > 0) products += residuals[i] * residuals[i - 1];
  }
  if (!(squares > 0)) return persistence;
  const double r = products / squares;
  persistence.lag_1 = std::clamp(r + (1 + 4 * r) / n, 0.0, kLag1Most);
  persistence.widening = std::sqrt((1 + persistence.lag_1) / (1 - persistence.lag_1));
  return persistence;
}

std::optional<Crossing> find_crossing(const LineFit& line, double limit, double first_x,
                                      double last_x, double widening) {
  if (!(std::abs(line.slope) > 0) || !(line.spread_x > 0)) return std::nullopt;
  Crossing crossing;
  crossing.at = (limit - line.intercept) / line.slope;
  if (!std::isfinite(crossing.at) || crossing.at < last_x) return std::nullopt;
  const double span = last_x - first_x;
  crossing.beyond = crossing.at - first_x > kFurthestSpans * span;
  const double t = student_t_95(line.degrees) * widening;
  const double relative = t * line.u_slope / line.slope;
  crossing.g = relative * relative;
  if (!(crossing.g < 1)) return crossing;
  // (intercept + slope x - limit)^2 = t^2 u_at(x)^2, with d = x - mean_x.
  const double above = line.at(line.mean_x) - limit;
  const double s2 = t * t * line.residual_sd * line.residual_sd;
  const double a = line.slope * line.slope - s2 / line.spread_x;
  const double b = line.slope * above;
  const double c = above * above - s2 / line.sum_weights;
  const double root = std::sqrt(std::max(0.0, b * b - a * c));
  crossing.low = line.mean_x + (-b - root) / a;
  crossing.high = line.mean_x + (-b + root) / a;
  return crossing;
}

std::optional<double> smallest_detectable_slope(std::span<const double> x, double sd) {
  if (!usable(x, x, 3) || !(sd >= 0) || !std::isfinite(sd)) return std::nullopt;
  double mean = 0;
  for (const double v : x) mean += v;
  const auto n = static_cast<double>(x.size());
  mean /= n;
  double spread = 0;
  for (const double v : x) spread += (v - mean) * (v - mean);
  if (!(spread > 0)) return std::nullopt;
  const double factor = student_t_95(n - 2) + student_t_quantile(kPower, n - 2);
  return factor * sd / std::sqrt(spread);
}

}  // namespace packmile
