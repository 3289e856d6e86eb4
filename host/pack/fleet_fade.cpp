#include "pack/fleet_fade.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "pack/robust.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

constexpr std::size_t kLeastVans = 3;
constexpr std::size_t kLeastMonths = 12;
constexpr double kMostInflation = 10;

struct Row {
  double years = 0;
  double km = 0;
  double lost_pct = 0;
  std::size_t van = 0;
};

}  // namespace

FleetFade split_fleet_fade(std::span<const FleetFadeVan> vans) {
  FleetFade result;
  std::vector<Row> rows;
  for (const FleetFadeVan& van : vans) {
    std::vector<FadePoint> points;
    for (const FadePoint& p : van.points) {
      if (p.odometer_km && p.ah > 0) points.push_back(p);
    }
    if (points.size() < kLeastMonths) continue;
    std::stable_sort(points.begin(), points.end(),
                     [](const auto& a, const auto& b) { return a.month < b.month; });
    double reference_ah = 0;
    for (std::size_t i = 0; i < kReferenceMonths; ++i) {
      reference_ah += points[i].ah / static_cast<double>(kReferenceMonths);
    }
    // Each van has its own level, so that only differences count.
    std::vector<Row> own;
    Row mean;
    for (const FadePoint& p : points) {
      own.push_back(
          {p.month / 12.0, *p.odometer_km, 100 * (1 - p.ah / reference_ah), result.n_vans});
      mean.years += own.back().years / static_cast<double>(points.size());
      mean.km += own.back().km / static_cast<double>(points.size());
      mean.lost_pct += own.back().lost_pct / static_cast<double>(points.size());
    }
    for (Row& row : own) {
      row.years -= mean.years;
      row.km -= mean.km;
      row.lost_pct -= mean.lost_pct;
      rows.push_back(row);
    }
    ++result.n_vans;
  }
  result.n_months = rows.size();
  const auto refuse = [&](const std::string& why) {
    result.reason = why;
    result.lost_pct_per_year = result.lost_pct_per_1000_km = MaybeFigure::unknown(why);
    return result;
  };
  double aa = 0, ad = 0, dd = 0, al = 0, dl = 0;
  for (const Row& row : rows) {
    aa += row.years * row.years;
    ad += row.years * row.km;
    dd += row.km * row.km;
    al += row.years * row.lost_pct;
    dl += row.km * row.lost_pct;
  }
  const double determinant = aa * dd - ad * ad;
  if (result.n_vans > 1 && determinant > 0) result.variance_inflation = aa * dd / determinant;
  if (result.n_vans < kLeastVans) {
    return refuse(std::to_string(result.n_vans) +
                  " vans of one pack type with twelve months each: three are needed to tell age "
                  "from use; one van never can");
  }
  if (!result.variance_inflation || *result.variance_inflation >= kMostInflation) {
    return refuse(
        "in these vans age and distance run together: which of the two it was cannot be "
        "told; vans that drive much less or much more would tell");
  }
  const double per_year = (al * dd - dl * ad) / determinant;
  const double per_km = (dl * aa - al * ad) / determinant;
  double squares = 0;
  double products = 0;
  const std::vector<Row>& r = rows;
  const auto residual = [&](const Row& row) {
    return row.lost_pct - per_year * row.years - per_km * row.km;
  };
  for (std::size_t i = 0; i < r.size(); ++i) {
    squares += residual(r[i]) * residual(r[i]);
    if (i > 0 && r[i].van == r[i - 1].van) products += residual(r[i]) * residual(r[i - 1]);
  }
  const double degrees = static_cast<double>(rows.size() - result.n_vans) - 2;
  const double variance = squares / degrees;
  // As persistence_of(), with the bias of a mean taken per van.
  const double months = static_cast<double>(rows.size()) / static_cast<double>(result.n_vans);
  const double raw = squares > 0 ? products / squares : 0;
  const double lag = std::clamp(raw + (1 + 4 * raw) / months, 0.0, 0.9);
  const double factor = student_t_95(degrees) * std::sqrt((1 + lag) / (1 - lag));
  const double half_year = factor * std::sqrt(variance * dd / determinant);
  const double half_km = factor * std::sqrt(variance * aa / determinant);
  result.lost_pct_per_year =
      MaybeFigure::known({per_year, per_year - half_year, per_year + half_year, half_year});
  result.lost_pct_per_1000_km = MaybeFigure::known(
      {1000 * per_km, 1000 * (per_km - half_km), 1000 * (per_km + half_km), 1000 * half_km});
  char text[160];
  std::snprintf(
      text, sizeof text,
      "%zu vans, %zu months: age and distance can be told apart (variance inflation %.1f)",
      result.n_vans, result.n_months, *result.variance_inflation);
  result.reason = text;
  return result;
}

}  // namespace packmile
