// Linear regression with a level of its own for each group, robust against a few
// wild rows.
//
// Input     rows of terms x, one value y, the group that the row belongs to.
// Output    y = level of the group + sum of slope * term.
// Method    Huber's M-estimator by reweighted least squares from the ordinary fit
//           on; scale = median |residual| / 0.6745, found anew in each round (the
//           convention of statsmodels' RLM). Levels are taken out by subtracting
//           weighted group means (Frisch, Waugh, Lovell), so that any number of
//           groups costs a solution of kMostTerms unknowns.
// Refuses   by std::nullopt: a group without rows, terms that cannot be told
//           apart, values that are no numbers.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace packmile {

inline constexpr std::size_t kMostTerms = 8;
// In scales. 95 % efficient on normal residuals (Huber 1981, from memory).
inline constexpr double kHuberLimitScales = 1.345;

struct GroupedRows {
  std::size_t terms = 0;             // 0..kMostTerms
  std::vector<double> x;             // row after row, `terms` each
  std::vector<double> y;             // one a row
  std::vector<std::uint32_t> group;  // one a row, below `groups`
  std::uint32_t groups = 1;

  [[nodiscard]] std::size_t size() const { return y.size(); }
};

struct GroupedFit {
  std::vector<double> slopes;
  std::vector<double> levels;
  double scale = 0;  // standard deviation of normal residuals with their median
};

struct HuberRules {
  double limit_scales = kHuberLimitScales;
  // Done when a round moves the fitted values by less than this, in scales.
  double settled_scales = 1e-10;
  int most_rounds = 200;
};

// picked: indices of rows, which may repeat.
[[nodiscard]] std::optional<GroupedFit> fit_least_squares(const GroupedRows& rows,
                                                          std::span<const std::size_t> picked);
// start: where to begin instead of the least squares fit; may be nullptr.
[[nodiscard]] std::optional<GroupedFit> fit_huber(const GroupedRows& rows,
                                                  std::span<const std::size_t> picked,
                                                  const HuberRules& rules = {},
                                                  const GroupedFit* start = nullptr);

// How far the terms can be told apart: condition number of their columns, levels
// taken out and scaled to one length, and the term that is most in the way.
struct Collinearity {
  double condition = 1;  // infinite: one is a mixture of the others
  std::size_t worst_term = 0;
};
// nullopt: a term does not vary inside any group, or there is none.
[[nodiscard]] std::optional<Collinearity> collinearity_of(const GroupedRows& rows);

}  // namespace packmile
