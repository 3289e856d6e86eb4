#include "pack/witness.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "pack/robust.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

constexpr std::size_t kCompared = 3;
constexpr int kHalfYear = 6;
// Judgments: what two tellers of one thing may differ by.
constexpr double kRestAgainstEdges = 0.03;
constexpr double kDriftPoints = 3;
constexpr double kStillPoints = 3;  // half-width that still confirms "no change"
// The controller learns in steps of its own; a point more or less is no quarrel.
constexpr double kQuarrelPoints = 1;
// Rests and count tell one level where they lie no further apart, their scatter
// included. A controller that counts with 160 Ah for 140 is 14 % off. A judgment.
constexpr double kSameLevel = 0.05;
// So often a controller that looks at the cells after a rest is seen doing so.
constexpr std::size_t kLeastRisenAtRest = 3;

std::string signed_pct(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%+.1f %%", value);
  return text;
}
std::string range_pct(double low, double high) {
  return signed_pct(low) + " to " + signed_pct(high);
}

}  // namespace

std::string_view word_of(WitnessVerdict verdict) {
  switch (verdict) {
    case WitnessVerdict::agrees_moving:
      return "agrees_moving";
    case WitnessVerdict::agrees_still:
      return "agrees_still";
    case WitnessVerdict::contradicts:
      return "contradicts";
    case WitnessVerdict::too_little:
      return "too_little";
  }
  return "";
}

std::optional<Figure> change_of_months_pct(std::span<const MonthValue> values) {
  std::vector<MonthValue> sorted(values.begin(), values.end());
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return a.month < b.month; });
  const std::size_t n = sorted.size();
  if (n < 2 * kCompared || sorted.back().month - sorted.front().month < kHalfYear) {
    return std::nullopt;
  }
  std::vector<double> x, y;
  double was = 0, is = 0;
  for (std::size_t i = 0; i < n; ++i) {
    x.push_back(sorted[i].month);
    y.push_back(sorted[i].y);
    if (i < kCompared) was += sorted[i].y / kCompared;
    if (i + kCompared >= n) is += sorted[i].y / kCompared;
  }
  const auto line = fit_line(x, y);
  if (!line || !(was > 0)) return std::nullopt;
  std::vector<double> residuals;
  for (std::size_t i = 0; i < n; ++i) residuals.push_back(y[i] - line->at(x[i]));
  const double u =
      line->residual_sd * persistence_of(residuals).widening * std::sqrt(2.0 / kCompared) / was;
  const double change = is / was - 1;
  const double half = student_t_95(line->degrees) * u;
  return Figure{100 * change, 100 * (change - half), 100 * (change + half), 100 * half};
}

Witness hear_witness(const WitnessInput& input) {
  Witness witness;
  if (input.edges_ah && input.rest_ah && input.n_risen_at_rest >= kLeastRisenAtRest) {
    const Figure& edges = *input.edges_ah;
    const Figure& rest = *input.rest_ah;
    witness.level_agrees =
        std::abs(edges.value - rest.value) + std::hypot(edges.scatter, rest.scatter) <=
        kSameLevel * edges.value;
  }
  if (input.window != nullptr && input.window->change) {
    witness.cells_pct = ChangeRange{input.window->change->capacity_low_pct,
                                    input.window->change->capacity_high_pct};
  }
  const auto conclude = [&](WitnessVerdict verdict, std::string reason) {
    witness.verdict = verdict;
    witness.reason = std::move(reason);
    // Rests confirm nothing beside a contradiction.
    witness.level_agrees = witness.level_agrees && verdict != WitnessVerdict::contradicts;
    return witness;
  };
  if (input.edges_ah && input.rest_ah) {
    const Figure& edges = *input.edges_ah;
    const Figure& rest = *input.rest_ah;
    // Gain and offset are of the same sensor: the random parts decide.
    const double apart = std::abs(edges.value - rest.value);
    if (apart > kRestAgainstEdges * edges.value &&
        apart > std::hypot(edges.scatter, rest.scatter)) {
      return conclude(
          WitnessVerdict::contradicts,
          "from rest to rest it is " + signed_pct(100 * (rest.value / edges.value - 1)) +
              " against the same scale while charging: the controller re-scales itself");
    }
  }
  if (input.drift != nullptr && input.drift->drift && input.drift->drift->points) {
    const Figure& points = *input.drift->drift->points;
    if (std::abs(points.value) > kDriftPoints && (points.low > 0 || points.high < 0)) {
      return conclude(WitnessVerdict::contradicts,
                      "at rest the same shown charge has another voltage than in the first months, "
                      "as if " +
                          signed_pct(points.value).substr(0, signed_pct(points.value).size() - 2) +
                          " points away: the controller's scale has moved");
    }
  }
  const auto edges = change_of_months_pct(input.months);
  if (!edges) {
    return conclude(WitnessVerdict::too_little,
                    "fewer than six monthly values over half a year to compare with");
  }
  if (input.window == nullptr) {
    return conclude(WitnessVerdict::too_little,
                    "no three like charges: nothing tells of the cells apart from the controller");
  }
  if (!input.window->change) return conclude(WitnessVerdict::too_little, input.window->why);
  const WindowChange& window = *input.window->change;
  const double low = window.capacity_low_pct;
  const double high = window.capacity_high_pct;
  const std::string seen =
      "the controller's scale changed by " + range_pct(edges->low, edges->high) +
      ", the charge between " + std::to_string(std::lround(input.window->low_v)) + " and " +
      std::to_string(std::lround(input.window->high_v)) + " V speaks for " + range_pct(low, high);
  const bool apart = edges->low > high + kQuarrelPoints || edges->high < low - kQuarrelPoints;
  if (apart) {
    const bool less = edges->low > high;  // it fell less than the cells
    return conclude(WitnessVerdict::contradicts,
                    seen + (less ? ": the controller has not re-learned"
                                 : ": the controller has re-scaled without the cells"));
  }
  const bool edges_moved = edges->low > 0 || edges->high < 0;
  const bool same_way = (edges->high < 0 && window.direction == Direction::fell) ||
                        (edges->low > 0 && window.direction == Direction::rose);
  if (edges_moved && same_way)
    return conclude(WitnessVerdict::agrees_moving, seen + ": they agree");
  const bool wide =
      (edges->high - edges->low) / 2 > kStillPoints || (high - low) / 2 > kStillPoints;
  if (wide) return conclude(WitnessVerdict::too_little, seen + ": too wide to compare");
  return conclude(WitnessVerdict::agrees_still, seen + ": no quarrel, and no change to learn from");
}

}  // namespace packmile
