#include "money/economic_life.hpp"

#include <algorithm>
#include <cmath>

namespace packmile {
namespace {

bool all_finite(std::span<const double> values) {
  return std::ranges::all_of(values, [](double value) { return std::isfinite(value); });
}

bool holds(double price, const YearsOfCost& years, double rate) {
  return !years.cost.empty() && years.cost.size() == years.resale.size() && std::isfinite(price) &&
         rate > -1 && std::isfinite(rate) && all_finite(years.cost) && all_finite(years.resale);
}

}  // namespace

double present_worth(double rate, double years) { return std::pow(1 + rate, -years); }

double capital_recovery(double rate, int years) {
  // expm1 and log1p keep a rate near 0 from losing its digits.
  if (rate == 0) return 1.0 / years;
  return rate / -std::expm1(-years * std::log1p(rate));
}

std::optional<std::vector<double>> equivalent_annual_costs(double price, const YearsOfCost& years,
                                                           double rate) {
  if (!holds(price, years, rate)) return std::nullopt;
  std::vector<double> out;
  double spent = 0;
  for (std::size_t k = 0; k < years.cost.size(); ++k) {
    const int n = static_cast<int>(k) + 1;
    const double worth = present_worth(rate, n);
    spent += years.cost[k] * worth;
    out.push_back((price - years.resale[k] * worth + spent) * capital_recovery(rate, n));
  }
  return out;
}

std::optional<std::vector<double>> marginal_costs(double price, const YearsOfCost& years,
                                                  double rate) {
  if (!holds(price, years, rate)) return std::nullopt;
  std::vector<double> out;
  double before = price;
  for (std::size_t k = 0; k < years.cost.size(); ++k) {
    out.push_back(before - years.resale[k] + rate * before + years.cost[k]);
    before = years.resale[k];
  }
  return out;
}

std::optional<EconomicLife> economic_life(double price, const YearsOfCost& years, double rate) {
  const auto costs = equivalent_annual_costs(price, years, rate);
  if (!costs) return std::nullopt;
  const auto least = std::ranges::min_element(*costs);
  return EconomicLife{static_cast<int>(least - costs->begin()) + 1, *least};
}

std::optional<double> levelised_cost_per_mile(double price, double resale,
                                              std::span<const double> cost,
                                              std::span<const double> miles, double rate) {
  if (cost.empty() || cost.size() != miles.size() || !(rate > -1) || !std::isfinite(rate) ||
      !std::isfinite(price) || !std::isfinite(resale) || !all_finite(cost) || !all_finite(miles))
    return std::nullopt;
  double spent = price - resale * present_worth(rate, static_cast<double>(cost.size()));
  double driven = 0;
  for (std::size_t k = 0; k < cost.size(); ++k) {
    const double worth = present_worth(rate, static_cast<double>(k) + 1);
    spent += cost[k] * worth;
    driven += miles[k] * worth;
  }
  if (!(driven > 0)) return std::nullopt;
  return spent / driven;
}

double break_even_price(double challenger_annual_cost, double resale_next_year,
                        double cost_next_year, double rate) {
  return (challenger_annual_cost + resale_next_year - cost_next_year) / (1 + rate);
}

std::optional<double> break_even_price_over(double challenger_annual_cost, const YearsOfCost& years,
                                            double rate) {
  if (!holds(challenger_annual_cost, years, rate)) return std::nullopt;
  std::optional<double> best;
  double saved = 0;
  for (std::size_t k = 0; k < years.cost.size(); ++k) {
    const double worth = present_worth(rate, static_cast<double>(k) + 1);
    saved += (challenger_annual_cost - years.cost[k]) * worth;
    const double price = saved + years.resale[k] * worth;
    if (!best || price > *best) best = price;
  }
  return best;
}

}  // namespace packmile
