#include "pack/trend.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <set>

#include "pack/robust.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

constexpr UtcTime kEarliest = std::chrono::sys_days{std::chrono::year{0} / 1 / 1};
constexpr UtcTime kLatest = std::chrono::sys_days{std::chrono::year{9999} / 12 / 31};
constexpr std::size_t kListOnly = 5;
constexpr std::size_t kTheilSenFrom = 8;
constexpr std::size_t kYear = 12;
constexpr std::size_t kStrongFrom = 24;
constexpr std::size_t kLikeMonths = 3;

std::vector<double> residuals_of(const std::vector<double>& x, const std::vector<double>& y,
                                 double intercept, double slope) {
  std::vector<double> residuals;
  for (std::size_t i = 0; i < x.size(); ++i) residuals.push_back(y[i] - intercept - slope * x[i]);
  return residuals;
}

// Few residuals: the robust sd of a handful says little.
double sd_about_line(const std::vector<double>& residuals) {
  if (residuals.size() >= kTheilSenFrom) return robust_sd(residuals);
  double squares = 0;
  for (const double r : residuals) squares += r * r;
  return std::sqrt(squares / static_cast<double>(residuals.size() - 2));
}

}  // namespace

int month_of(UtcTime time, const std::optional<Zone>& zone) {
  // A clock may say anything; the calendar of chrono holds only so much.
  const UtcTime held = std::clamp<UtcTime>(time, kEarliest, kLatest);
  const UtcTime local =
      zone ? std::clamp<UtcTime>(held + zone->clock_at(held).ahead, kEarliest, kLatest) : held;
  const std::chrono::year_month_day day{std::chrono::floor<std::chrono::days>(local)};
  return static_cast<int>(day.year()) * 12 + static_cast<int>(static_cast<unsigned>(day.month())) -
         1;
}

UtcTime start_of_month(int month, const std::optional<Zone>& zone) {
  const auto of_year = static_cast<unsigned>(month % 12 + 1);
  const std::chrono::sys_days first{std::chrono::year{month / 12} / std::chrono::month{of_year} /
                                    1};
  // The middle of a month is in it everywhere.
  return zone ? zone->month_of(first + std::chrono::days{14}).from : UtcTime{first};
}

bool enough_seasons(std::span<const MonthValue> values) {
  std::set<int> months;
  for (const MonthValue& v : values) months.insert(v.month);
  if (months.size() >= kYear) return true;
  std::set<int> twice;  // calendar months that a later year has too
  for (const int month : months) {
    for (const int other : months) {
      if (other > month && (other - month) % 12 == 0) twice.insert(month % 12);
    }
  }
  return twice.size() >= kLikeMonths;
}

TrendOrWhy fit_trend(std::span<const MonthValue> values) {
  TrendOrWhy result;
  std::vector<MonthValue> sorted(values.begin(), values.end());
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return a.x < b.x; });
  std::vector<double> x, y, weights;
  bool weighted = true;
  for (const MonthValue& v : sorted) {
    x.push_back(v.x);
    y.push_back(v.y);
    weighted = weighted && v.u_y > 0;
  }
  if (weighted) {
    for (const MonthValue& v : sorted) weights.push_back(1 / (v.u_y * v.u_y));
  }
  const std::size_t n = x.size();
  const auto line = fit_line(x, y, weights);
  std::optional<TheilSen> robust;
  if (n >= kTheilSenFrom) robust = fit_theil_sen(x, y);
  Trend trend;
  trend.n_months = n;
  trend.weak = n < kStrongFrom;
  trend.kendall = kendall_of(x, y);
  std::vector<double> residuals;
  if (robust) {
    residuals = residuals_of(x, y, robust->intercept, robust->slope);
    trend.widening = persistence_of(residuals).widening;
    trend.slope = robust->slope;
    trend.intercept = robust->intercept;
    trend.low = robust->slope - (robust->slope - robust->low) * trend.widening;
    trend.high = robust->slope + (robust->high - robust->slope) * trend.widening;
  } else if (line) {
    residuals = residuals_of(x, y, line->intercept, line->slope);
    trend.widening = persistence_of(residuals).widening;
    trend.slope = line->slope;
    trend.intercept = line->intercept;
    const double half = student_t_95(line->degrees) * line->u_slope * trend.widening;
    trend.low = line->slope - half;
    trend.high = line->slope + half;
  } else {
    result.why = n < kListOnly ? "fewer than five monthly values" : "all at one place";
    return result;
  }
  trend.residual_sd = sd_about_line(residuals);
  result.residual_sd = trend.residual_sd;
  if (n < kListOnly) {
    result.why = "fewer than five monthly values";
  } else if (!enough_seasons(values)) {
    result.why =
        std::to_string(n) + " monthly values: a slope needs 12 months, or two like seasons";
  } else {
    result.trend = trend;
  }
  return result;
}

}  // namespace packmile
