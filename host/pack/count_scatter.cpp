#include "pack/count_scatter.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "pack/trend.hpp"

namespace packmile {
namespace {

// What is taken without evidence weighs as much as so many charges: enough that
// two alike by chance do not make each other sure. A judgment.
constexpr double kWeightOfRule = 2;
constexpr std::size_t kLeastAlike = 3;

struct Pool {
  double squares = 0;  // beyond what edges and Ah explain
  double degrees = 0;
};

// rule_u: taken without evidence.
double learnt_u(double rule_u, const Pool& pool) {
  return std::sqrt((kWeightOfRule * rule_u * rule_u + std::max(0.0, pool.squares)) /
                   (kWeightOfRule + pool.degrees));
}

}  // namespace

void learn_count_scatter(std::vector<ChargeCapacity>& charges, const CapacityRules& rules) {
  std::map<std::tuple<std::uint32_t, int, TemperatureStratum>, std::vector<ChargeCapacity*>> like;
  for (ChargeCapacity& c : charges) {
    if (!c.ah.figure) continue;
    like[{c.segment, month_of(c.start, rules.zone), stratum_of(c.ambient_c)}].push_back(&c);
  }
  std::map<std::uint32_t, Pool> pools;
  for (const auto& [key, group] : like) {
    if (group.size() < kLeastAlike) continue;
    std::vector<PointWithErrors> points;
    for (const ChargeCapacity* c : group) points.push_back(c->point);
    const auto fit = fit_proportion(points, Outliers::rejected);
    if (!fit || fit->n_used < kLeastAlike) continue;
    Pool& pool = pools[std::get<0>(key)];
    // Each residual is that much smaller for the slope that they share.
    const double kept = 1 - 1 / static_cast<double>(fit->n_used);
    for (std::size_t i = 0; i < group.size(); ++i) {
      const PointWithErrors& p = points[i];
      const double away = p.y / fit->slope - p.x;
      if (!fit->used[i]) {
        group[i]->apart_x = std::abs(away);
        continue;
      }
      // One that the controller corrected says nothing of the others.
      if (group[i]->bends) continue;
      const double explained = std::hypot(group[i]->edges_u_x, p.u_y / fit->slope);
      pool.squares += away * away - kept * explained * explained;
      pool.degrees += kept;
    }
  }
  for (ChargeCapacity& c : charges) {
    if (!c.ah.figure) continue;
    const Pool& pool = pools[c.segment];
    c.point.u_x = share_u(c, learnt_u(rules.count_u, pool));
  }
}

void learn_rest_scatter(std::vector<PointWithErrors>& points) {
  if (points.size() < kLeastAlike) return;
  const auto fit = fit_proportion(points, Outliers::rejected);
  if (!fit || fit->n_used < kLeastAlike) return;
  const double kept = 1 - 1 / static_cast<double>(fit->n_used);
  Pool pool;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (!fit->used[i]) continue;
    const double away = points[i].y / fit->slope - points[i].x;
    const double explained = points[i].u_y / fit->slope;
    pool.squares += away * away - kept * explained * explained;
    pool.degrees += kept;
  }
  for (PointWithErrors& p : points) p.u_x = learnt_u(p.u_x, pool);
}

}  // namespace packmile
