#include "reading/rest_scatter.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "reading/pack_reading.hpp"

namespace packmile {
namespace {

constexpr double kNeighbourV = 0.02;  // of the voltage
constexpr double kNeighbourPct = 10;
constexpr double kPriorRests = 3;
constexpr double kWorthOfThree = 0.5;
// No controller is known to be better. A judgment.
constexpr double kLeastU = 0.002;
// Half a step, rectangular.
constexpr double kRoundedU = 0.2887;

}  // namespace

double rest_scatter_u(std::span<const RestReading> rests) {
  std::vector<RestReading> by_v(rests.begin(), rests.end());
  std::ranges::sort(by_v, {}, [](const RestReading& r) { return std::pair{r.pack_v, r.soc_pct}; });
  double squares = kPriorRests * kSocAtRestU * kSocAtRestU;
  double worth = kPriorRests;
  for (std::size_t i = 1; i + 1 < by_v.size(); ++i) {
    const RestReading& a = by_v[i - 1];
    const RestReading& b = by_v[i];
    const RestReading& c = by_v[i + 1];
    const double apart_v = c.pack_v - a.pack_v;
    const auto [least, most] = std::minmax({a.soc_pct, b.soc_pct, c.soc_pct});
    if (apart_v > kNeighbourV * a.pack_v || most - least > kNeighbourPct) continue;
    const double near_a = apart_v > 0 ? (c.pack_v - b.pack_v) / apart_v : 0.5;
    const double off_pct = b.soc_pct - near_a * a.soc_pct - (1 - near_a) * c.soc_pct;
    const double weight = 1 + near_a * near_a + (1 - near_a) * (1 - near_a);
    const double rounded = kRoundedU * b.soc_step_pct / 100;
    squares += kWorthOfThree * (off_pct * off_pct / 1e4 / weight - rounded * rounded);
    worth += kWorthOfThree;
  }
  return std::sqrt(std::max(squares / worth, kLeastU * kLeastU));
}

}  // namespace packmile
