// Keep a van for one more year or a few, or buy another one now.
//
// Input     what its owner says of both, each low, likely and high.
// Output    the price today above which selling is cheaper, with its interval; how
//           likely selling is cheaper; the inputs that move it most.
// Method    both at the same distance a year. The challenger costs its equivalent
//           annual cost over the years that it would be kept, or over those that cost
//           least where its years are told one by one; the van that is there costs
//           what it loses in value, the interest on what it would fetch today, its
//           repairs and its lost days, over the years that are best for keeping it.
//           1,000 draws with one seed from
//           triangular distributions. What was once paid for the van is not an
//           input.
// Rule      decided where at least 90 % of the draws say the same. No input has a
//           default.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "figure.hpp"

namespace packmile {

// low <= likely <= high
struct ThreePoint {
  double low = 0, likely = 0, high = 0;
};

enum class RateBasis : std::uint8_t { nominal, real };

// Of the first year, the second ..; empty: not told by the year.
using ByYear = std::vector<ThreePoint>;

struct KeepInputs {
  std::optional<ThreePoint> challenger_price, challenger_resale;  // resale after challenger_years
  std::optional<int> challenger_years;                            // >= 1
  std::optional<ThreePoint> challenger_repairs;                   // a year
  std::optional<ThreePoint> challenger_lost_days;                 // a year
  // In place of resale, years and repairs: what it would fetch after each year, and
  // what each takes; of like length. Repairs may be left to the mean above.
  ByYear challenger_resale_by_year, challenger_repairs_by_year;
  std::optional<ThreePoint> resale_now, resale_next_year;
  std::optional<ThreePoint> repairs_next_year, lost_days_next_year;
  // In place of the two of next year; of like length.
  ByYear resale_by_year, repairs_by_year;
  std::optional<double> hire_per_lost_day;
  std::optional<ThreePoint> miles_per_year;
  // Energy and the like. Neither: left out of both, which is said.
  std::optional<ThreePoint> cost_per_mile, challenger_cost_per_mile;
  std::optional<double> rate;  // a year, 0.06 is 6 %
  std::optional<RateBasis> rate_basis;
};

// Key words of fleet.toml that are missing, in order; empty: none.
[[nodiscard]] std::vector<std::string> missing_inputs(const KeepInputs& inputs);

struct InputSwing {
  std::string input;  // its key word
  double low = 0;     // break-even price with the input at its low, the others likely
  double high = 0;    // at its high
  // False: what the van would fetch today, which the price is held against. low and
  // high are then how the price would stand to it.
  bool moves_price = true;
  [[nodiscard]] double width() const { return high > low ? high - low : low - high; }
};

enum class KeepVerdict : std::uint8_t { keep, sell, open };
[[nodiscard]] std::string_view word_of(KeepVerdict verdict);

struct KeepOrSell {
  Figure break_even_price;
  Figure keeping_per_mile;     // of the van that is there, over the years below
  Figure challenger_per_mile;  // of the challenger, over its years
  // That cost least a year, all inputs being likely; challenger_searched: of several.
  int keeping_years = 1, challenger_years = 1;
  bool keeping_searched = false, challenger_searched = false;
  double selling_is_cheaper = 0;  // share of draws, 0..1
  KeepVerdict verdict = KeepVerdict::open;
  std::vector<InputSwing> swings;  // widest first
  std::string basis;               // what was left out, and the kind of rate
};

inline constexpr int kKeepDraws = 1'000;
inline constexpr double kDecidedShare = 0.9;
// missing_inputs() must be empty.
[[nodiscard]] KeepOrSell keep_or_sell(const KeepInputs& inputs);

}  // namespace packmile
