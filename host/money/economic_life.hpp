// What a machine costs a year, how long it is worth keeping, and what a mile costs
// over its life.
//
// Standard  equivalent annual cost and marginal cost as engineering economics
//           teaches them (Newnan et al., Engineering Economic Analysis, ch. 13).
// Terms     price: what it would fetch or cost today, never what was once paid.
//           resale[k], cost[k]: at the end of year k + 1, in that year.
// Refuses   by std::nullopt: no years, lists of unlike length, a rate of -1 or
//           less, numbers that are none.
#pragma once
#include <optional>
#include <span>
#include <vector>

namespace packmile {

// (A/P, i, n): what each of n years pays for 1 today. rate 0: 1/n.
[[nodiscard]] double capital_recovery(double rate, int years);
// What 1 at the end of year n is worth today.
[[nodiscard]] double present_worth(double rate, double years);

struct YearsOfCost {
  std::span<const double> resale;
  std::span<const double> cost;
};

// For each number of years, what each of them costs.
[[nodiscard]] std::optional<std::vector<double>> equivalent_annual_costs(double price,
                                                                         const YearsOfCost& years,
                                                                         double rate);
// What each further year costs by itself.
[[nodiscard]] std::optional<std::vector<double>> marginal_costs(double price,
                                                                const YearsOfCost& years,
                                                                double rate);
struct EconomicLife {
  int years = 0;
  double annual_cost = 0;
};
// The number of years that costs least a year; the shortest of equals.
[[nodiscard]] std::optional<EconomicLife> economic_life(double price, const YearsOfCost& years,
                                                        double rate);

// miles: of each year, the first one included.
[[nodiscard]] std::optional<double> levelised_cost_per_mile(double price, double resale,
                                                            std::span<const double> cost,
                                                            std::span<const double> miles,
                                                            double rate);

// The price today at which keeping for one more year costs as much as
// `challenger_annual_cost`: sell above it, keep below it.
[[nodiscard]] double break_even_price(double challenger_annual_cost, double resale_next_year,
                                      double cost_next_year, double rate);
// The same for the number of years that is best for keeping.
[[nodiscard]] std::optional<double> break_even_price_over(double challenger_annual_cost,
                                                          const YearsOfCost& years, double rate);

}  // namespace packmile
