#include "energy/huber_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace packmile {
namespace {

using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::ColMajor,
                             static_cast<int>(kMostTerms), static_cast<int>(kMostTerms)>;
using Vector =
    Eigen::Matrix<double, Eigen::Dynamic, 1, Eigen::ColMajor, static_cast<int>(kMostTerms), 1>;

// Median absolute deviation of a normal distribution with standard deviation 1.
constexpr double kNormalMad = 0.674489750196082;
// Columns closer to a mixture of the others than this have no slope of their own.
constexpr double kLeastPivot = 1e-10;
// A column whose squares are less than this share of what they were with the
// levels in is nothing but rounding.
constexpr double kRoundingSquared = 1e-24;

double median(std::vector<double>& values) {
  const std::size_t half = values.size() / 2;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(half);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return (*middle + *std::max_element(values.begin(), middle)) / 2;
}

// Sums of products with the levels taken out.
struct Products {
  Matrix xx;
  Vector xy;
  Vector raw;                  // sums of squares with the levels in
  std::vector<double> mean_x;  // group after group, `terms` each
  std::vector<double> mean_y;
  bool whole = true;  // every group has weight
};

Products products_of(const GroupedRows& rows, std::span<const std::size_t> picked,
                     std::span<const double> weights) {
  const std::size_t terms = rows.terms;
  Products out;
  out.mean_x.assign(terms * rows.groups, 0);
  out.mean_y.assign(rows.groups, 0);
  std::vector<double> sums(rows.groups, 0);
  const auto weight = [&](std::size_t k) { return weights.empty() ? 1.0 : weights[k]; };
  for (std::size_t k = 0; k < picked.size(); ++k) {
    const std::size_t row = picked[k];
    const std::uint32_t group = rows.group[row];
    sums[group] += weight(k);
    out.mean_y[group] += weight(k) * rows.y[row];
    for (std::size_t t = 0; t < terms; ++t)
      out.mean_x[group * terms + t] += weight(k) * rows.x[row * terms + t];
  }
  for (std::uint32_t group = 0; group < rows.groups; ++group) {
    out.whole = out.whole && sums[group] > 0;
    out.mean_y[group] /= sums[group];
    for (std::size_t t = 0; t < terms; ++t) out.mean_x[group * terms + t] /= sums[group];
  }
  double xx[kMostTerms][kMostTerms] = {};
  double xy[kMostTerms] = {};
  double raw[kMostTerms] = {};
  double apart[kMostTerms];
  for (std::size_t k = 0; k < picked.size(); ++k) {
    const std::size_t row = picked[k];
    const std::uint32_t group = rows.group[row];
    for (std::size_t t = 0; t < terms; ++t)
      apart[t] = rows.x[row * terms + t] - out.mean_x[group * terms + t];
    const double y = rows.y[row] - out.mean_y[group];
    for (std::size_t t = 0; t < terms; ++t) {
      const double weighted = weight(k) * apart[t];
      xy[t] += weighted * y;
      raw[t] += weight(k) * rows.x[row * terms + t] * rows.x[row * terms + t];
      for (std::size_t u = 0; u <= t; ++u) xx[t][u] += weighted * apart[u];
    }
  }
  const auto n = static_cast<Eigen::Index>(terms);
  out.xx.resize(n, n);
  out.xy.resize(n);
  out.raw.resize(n);
  for (std::size_t t = 0; t < terms; ++t) {
    out.xy(static_cast<Eigen::Index>(t)) = xy[t];
    out.raw(static_cast<Eigen::Index>(t)) = raw[t];
    for (std::size_t u = 0; u < terms; ++u)
      out.xx(static_cast<Eigen::Index>(t), static_cast<Eigen::Index>(u)) =
          u <= t ? xx[t][u] : xx[u][t];
  }
  return out;
}

// The matrix with 1 in its diagonal, and the lengths of the columns; nullopt: a
// column has no length.
struct Scaled {
  Matrix xx;
  Vector length;
};
std::optional<Scaled> scaled(const Products& products) {
  const Matrix& xx = products.xx;
  Scaled out;
  out.length = xx.diagonal().cwiseSqrt();
  if (!out.length.allFinite() ||
      (xx.diagonal().array() <= kRoundingSquared * products.raw.array()).any())
    return std::nullopt;
  const Vector inverse = out.length.cwiseInverse();
  out.xx = inverse.asDiagonal() * xx * inverse.asDiagonal();
  return out;
}

// One weighted least squares fit; lengths: of the columns, for judging a change.
bool solve(const GroupedRows& rows, std::span<const std::size_t> picked,
           std::span<const double> weights, GroupedFit& fit, Vector& lengths) {
  const Products products = products_of(rows, picked, weights);
  if (!products.whole) return false;
  const std::size_t terms = rows.terms;
  fit.slopes.assign(terms, 0);
  if (terms > 0) {
    const auto normal = scaled(products);
    if (!normal) return false;
    const Eigen::LDLT<Matrix> factors{normal->xx};
    if (factors.info() != Eigen::Success || factors.vectorD().minCoeff() < kLeastPivot)
      return false;
    const Vector slopes =
        factors.solve(products.xy.cwiseQuotient(normal->length)).cwiseQuotient(normal->length);
    if (!slopes.allFinite()) return false;
    for (std::size_t t = 0; t < terms; ++t) fit.slopes[t] = slopes(static_cast<Eigen::Index>(t));
    lengths = normal->length;
  }
  fit.levels.assign(rows.groups, 0);
  for (std::uint32_t group = 0; group < rows.groups; ++group) {
    double level = products.mean_y[group];
    for (std::size_t t = 0; t < terms; ++t)
      level -= fit.slopes[t] * products.mean_x[group * terms + t];
    if (!std::isfinite(level)) return false;
    fit.levels[group] = level;
  }
  return true;
}

void residuals_of(const GroupedRows& rows, std::span<const std::size_t> picked,
                  const GroupedFit& fit, std::vector<double>& out) {
  out.resize(picked.size());
  for (std::size_t k = 0; k < picked.size(); ++k) {
    const std::size_t row = picked[k];
    double value = fit.levels[rows.group[row]];
    for (std::size_t t = 0; t < rows.terms; ++t)
      value += fit.slopes[t] * rows.x[row * rows.terms + t];
    out[k] = std::abs(rows.y[row] - value);
  }
}

double scale_of(const std::vector<double>& residuals, std::vector<double>& scratch) {
  scratch = residuals;
  return median(scratch) / kNormalMad;
}

bool usable(const GroupedRows& rows, std::span<const std::size_t> picked) {
  return rows.terms <= kMostTerms && rows.groups > 0 && picked.size() > rows.terms + rows.groups;
}

}  // namespace

std::optional<GroupedFit> fit_least_squares(const GroupedRows& rows,
                                            std::span<const std::size_t> picked) {
  GroupedFit fit;
  Vector lengths;
  if (!usable(rows, picked) || !solve(rows, picked, {}, fit, lengths)) return std::nullopt;
  std::vector<double> residuals, scratch;
  residuals_of(rows, picked, fit, residuals);
  fit.scale = scale_of(residuals, scratch);
  return fit;
}

std::optional<GroupedFit> fit_huber(const GroupedRows& rows, std::span<const std::size_t> picked,
                                    const HuberRules& rules, const GroupedFit* start) {
  if (!usable(rows, picked)) return std::nullopt;
  GroupedFit fit;
  Vector lengths = Vector::Zero(static_cast<Eigen::Index>(rows.terms));
  if (start != nullptr)
    fit = *start;
  else if (!solve(rows, picked, {}, fit, lengths))
    return std::nullopt;
  std::vector<double> residuals, scratch, weights(picked.size());
  for (int round = 0; round < rules.most_rounds; ++round) {
    residuals_of(rows, picked, fit, residuals);
    fit.scale = scale_of(residuals, scratch);
    // More than half of the rows lie on the plane: there is nothing to reweight.
    if (!(fit.scale > 0)) return fit;
    const double limit = rules.limit_scales * fit.scale;
    for (std::size_t k = 0; k < residuals.size(); ++k)
      weights[k] = residuals[k] <= limit ? 1 : limit / residuals[k];
    GroupedFit next = fit;
    if (!solve(rows, picked, weights, next, lengths)) return std::nullopt;
    double moved = 0;
    for (std::size_t t = 0; t < rows.terms; ++t)
      moved = std::max(
          moved, std::abs(next.slopes[t] - fit.slopes[t]) * lengths(static_cast<Eigen::Index>(t)));
    for (std::size_t group = 0; group < rows.groups; ++group)
      moved = std::max(moved, std::abs(next.levels[group] - fit.levels[group]));
    next.scale = fit.scale;
    fit = std::move(next);
    if (moved <= rules.settled_scales * fit.scale) break;
  }
  return fit;
}

std::optional<Collinearity> collinearity_of(const GroupedRows& rows) {
  if (rows.terms == 0 || rows.terms > kMostTerms || rows.size() == 0) return std::nullopt;
  std::vector<std::size_t> all(rows.size());
  std::iota(all.begin(), all.end(), std::size_t{0});
  const Products products = products_of(rows, all, {});
  if (!products.whole) return std::nullopt;
  const auto normal = scaled(products);
  if (!normal) return std::nullopt;
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen{normal->xx};
  if (eigen.info() != Eigen::Success) return std::nullopt;
  const double least = eigen.eigenvalues()(0);
  const double most = eigen.eigenvalues()(static_cast<Eigen::Index>(rows.terms) - 1);
  Collinearity out;
  out.condition = least > 0 ? std::sqrt(most / least) : std::numeric_limits<double>::infinity();
  Eigen::Index worst = 0;
  eigen.eigenvectors().col(0).cwiseAbs().maxCoeff(&worst);
  out.worst_term = static_cast<std::size_t>(worst);
  return out;
}

}  // namespace packmile
