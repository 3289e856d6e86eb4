#include "pack/temperature_share.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <vector>

namespace packmile {
namespace {

constexpr std::size_t kLeastPerStratum = 8;
constexpr double kStrataYearMs = 365.25 * 86.4e6;

}  // namespace

std::optional<Figure> fit_temperature_share(std::span<const ChargeCapacity> charges) {
  std::map<TemperatureStratum, std::size_t> strata;
  std::vector<std::array<double, 3>> columns;  // 1, years, kelvin
  std::vector<double> ah, weights;
  for (const ChargeCapacity& c : charges) {
    if (!c.ah.figure || !c.ambient_c || !(c.point.x > 0)) continue;
    ++strata[stratum_of(c.ambient_c)];
    columns.push_back(
        {1,
         static_cast<double>(unix_ms_of(c.start) - unix_ms_of(charges.front().start)) /
             kStrataYearMs,
         *c.ambient_c - kReferenceC});
    ah.push_back(c.point.y / c.point.x);
    const double u = std::hypot(c.point.u_y, ah.back() * c.point.u_x) / c.point.x;
    weights.push_back(u > 0 ? 1 / (u * u) : 0);
  }
  const auto full = std::count_if(strata.begin(), strata.end(),
                                  [](const auto& s) { return s.second >= kLeastPerStratum; });
  if (full < 2) return std::nullopt;
  // Normal equations of three unknowns, solved by Gauss and Jordan with the unit
  // matrix beside them: the inverse gives the widths.
  std::array<std::array<double, 6>, 3> m{};
  std::array<double, 3> right{};
  for (std::size_t i = 0; i < ah.size(); ++i) {
    for (std::size_t r = 0; r < 3; ++r) {
      for (std::size_t c = 0; c < 3; ++c) m[r][c] += weights[i] * columns[i][r] * columns[i][c];
      right[r] += weights[i] * columns[i][r] * ah[i];
    }
  }
  for (std::size_t r = 0; r < 3; ++r) m[r][3 + r] = 1;
  for (std::size_t p = 0; p < 3; ++p) {
    std::size_t best = p;
    for (std::size_t r = p + 1; r < 3; ++r) {
      if (std::abs(m[r][p]) > std::abs(m[best][p])) best = r;
    }
    std::swap(m[p], m[best]);
    if (!(std::abs(m[p][p]) > 1e-12)) return std::nullopt;
    const double pivot = m[p][p];
    for (double& v : m[p]) v /= pivot;
    for (std::size_t r = 0; r < 3; ++r) {
      if (r == p) continue;
      const double factor = m[r][p];
      for (std::size_t c = 0; c < 6; ++c) m[r][c] -= factor * m[p][c];
    }
  }
  std::array<double, 3> solution{};
  for (std::size_t r = 0; r < 3; ++r) {
    for (std::size_t c = 0; c < 3; ++c) solution[r] += m[r][3 + c] * right[c];
  }
  double chi2 = 0;
  for (std::size_t i = 0; i < ah.size(); ++i) {
    double residual = ah[i];
    for (std::size_t c = 0; c < 3; ++c) residual -= solution[c] * columns[i][c];
    chi2 += weights[i] * residual * residual;
  }
  if (!(solution[0] > 0)) return std::nullopt;
  const double widening = std::max(1.0, std::sqrt(chi2 / static_cast<double>(ah.size() - 3)));
  return figure_of(solution[2] / solution[0], std::sqrt(m[2][5]) * widening / solution[0], 0);
}

}  // namespace packmile
