#include "money/break_even.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <random>

#include "money/economic_life.hpp"

namespace packmile {
namespace {

constexpr std::uint32_t kDrawSeed = 11;

// One value of each input.
struct Drawn {
  double challenger_price = 0, challenger_resale = 0, challenger_repairs = 0;
  double challenger_lost_days = 0;
  double resale_now = 0, resale_next_year = 0, repairs_next_year = 0, lost_days_next_year = 0;
  double miles = 0, cost_per_mile = 0, challenger_cost_per_mile = 0;
  std::vector<double> challenger_resale_by_year, challenger_repairs_by_year;
  std::vector<double> resale_by_year, repairs_by_year;
};

struct InputRule {
  const char* key;
  std::optional<ThreePoint> KeepInputs::*range;
  double Drawn::*drawn;
};

constexpr std::array kInputs{
    InputRule{"challenger_price", &KeepInputs::challenger_price, &Drawn::challenger_price},
    InputRule{"challenger_resale", &KeepInputs::challenger_resale, &Drawn::challenger_resale},
    InputRule{"challenger_repairs_a_year", &KeepInputs::challenger_repairs,
              &Drawn::challenger_repairs},
    InputRule{"challenger_lost_days_a_year", &KeepInputs::challenger_lost_days,
              &Drawn::challenger_lost_days},
    InputRule{"resale_now", &KeepInputs::resale_now, &Drawn::resale_now},
    InputRule{"resale_next_year", &KeepInputs::resale_next_year, &Drawn::resale_next_year},
    InputRule{"repairs_next_year", &KeepInputs::repairs_next_year, &Drawn::repairs_next_year},
    InputRule{"lost_days_next_year", &KeepInputs::lost_days_next_year, &Drawn::lost_days_next_year},
    InputRule{"miles_a_year", &KeepInputs::miles_per_year, &Drawn::miles},
    InputRule{"cost_per_mile", &KeepInputs::cost_per_mile, &Drawn::cost_per_mile},
    InputRule{"challenger_cost_per_mile", &KeepInputs::challenger_cost_per_mile,
              &Drawn::challenger_cost_per_mile},
};

// All years of one input lie alike in their ranges: a good market is one for each.
struct ByYearRule {
  const char* key;
  ByYear KeepInputs::*range;
  std::vector<double> Drawn::*drawn;
};

constexpr std::array kByYear{
    ByYearRule{"challenger_resale_by_year", &KeepInputs::challenger_resale_by_year,
               &Drawn::challenger_resale_by_year},
    ByYearRule{"challenger_repairs_by_year", &KeepInputs::challenger_repairs_by_year,
               &Drawn::challenger_repairs_by_year},
    ByYearRule{"resale_by_year", &KeepInputs::resale_by_year, &Drawn::resale_by_year},
    ByYearRule{"repairs_by_year", &KeepInputs::repairs_by_year, &Drawn::repairs_by_year},
};

bool may_be_left_out(const KeepInputs& inputs, const InputRule& rule) {
  const auto is = [&](auto member) { return rule.range == member; };
  if (is(&KeepInputs::cost_per_mile) || is(&KeepInputs::challenger_cost_per_mile)) return true;
  if (is(&KeepInputs::challenger_resale)) return !inputs.challenger_resale_by_year.empty();
  if (is(&KeepInputs::challenger_repairs)) return !inputs.challenger_repairs_by_year.empty();
  if (is(&KeepInputs::resale_next_year)) return !inputs.resale_by_year.empty();
  return is(&KeepInputs::repairs_next_year) && !inputs.repairs_by_year.empty();
}

struct Outcome {
  double break_even = 0, keeping_per_mile = 0, challenger_per_mile = 0;
  int keeping_years = 1, challenger_years = 1;
  bool selling_is_cheaper = false;
};

// A year's cost of either van.
std::vector<double> yearly(const std::vector<double>& repairs, double beside) {
  std::vector<double> out = repairs;
  for (double& cost : out) cost += beside;
  return out;
}

EconomicLife challenger_of(const KeepInputs& inputs, const Drawn& drawn) {
  const double rate = *inputs.rate;
  const double beside = drawn.challenger_lost_days * *inputs.hire_per_lost_day +
                        drawn.challenger_cost_per_mile * drawn.miles;
  if (drawn.challenger_resale_by_year.empty()) {
    const int years = *inputs.challenger_years;
    return {years, (drawn.challenger_price - drawn.challenger_resale * present_worth(rate, years)) *
                           capital_recovery(rate, years) +
                       drawn.challenger_repairs + beside};
  }
  const std::vector<double> cost = yearly(
      drawn.challenger_repairs_by_year.empty()
          ? std::vector<double>(drawn.challenger_resale_by_year.size(), drawn.challenger_repairs)
          : drawn.challenger_repairs_by_year,
      beside);
  return economic_life(drawn.challenger_price, {drawn.challenger_resale_by_year, cost}, rate)
      .value_or(EconomicLife{});
}

Outcome outcome_of(const KeepInputs& inputs, const Drawn& drawn) {
  const EconomicLife challenger = challenger_of(inputs, drawn);
  const bool by_year = !drawn.resale_by_year.empty();
  const std::vector<double> resale =
      by_year ? drawn.resale_by_year : std::vector<double>{drawn.resale_next_year};
  const std::vector<double> cost = yearly(
      by_year ? drawn.repairs_by_year : std::vector<double>{drawn.repairs_next_year},
      drawn.lost_days_next_year * *inputs.hire_per_lost_day + drawn.cost_per_mile * drawn.miles);
  const YearsOfCost years{resale, cost};
  const EconomicLife kept =
      economic_life(drawn.resale_now, years, *inputs.rate).value_or(EconomicLife{});
  Outcome out;
  out.break_even = break_even_price_over(challenger.annual_cost, years, *inputs.rate).value_or(0);
  out.keeping_per_mile = kept.annual_cost / drawn.miles;
  out.challenger_per_mile = challenger.annual_cost / drawn.miles;
  out.keeping_years = kept.years;
  out.challenger_years = challenger.years;
  out.selling_is_cheaper = drawn.resale_now > out.break_even;
  return out;
}

// Inverse of the triangular distribution at u in 0..1.
double triangular(const ThreePoint& range, double u) {
  const double span = range.high - range.low;
  if (!(span > 0)) return range.likely;
  const double mode = (range.likely - range.low) / span;
  return u < mode ? range.low + span * std::sqrt(u * mode)
                  : range.high - span * std::sqrt((1 - u) * (1 - mode));
}

Figure figure_of_draws(double likely, std::vector<double> drawn) {
  std::ranges::sort(drawn);
  const auto at = [&](double share) {
    return drawn[static_cast<std::size_t>(share * static_cast<double>(drawn.size() - 1) + 0.5)];
  };
  return {likely, std::min(likely, at(0.025)), std::max(likely, at(0.975)), 0};
}

}  // namespace

std::string_view word_of(KeepVerdict verdict) {
  switch (verdict) {
    case KeepVerdict::keep:
      return "keep";
    case KeepVerdict::sell:
      return "sell";
    case KeepVerdict::open:
      return "open";
  }
  return "";
}

std::vector<std::string> missing_inputs(const KeepInputs& inputs) {
  std::vector<std::string> out;
  for (const InputRule& rule : kInputs)
    if (!(inputs.*rule.range) && !may_be_left_out(inputs, rule)) out.emplace_back(rule.key);
  // One of the two would hold a van with its energy against one without.
  if (inputs.cost_per_mile.has_value() != inputs.challenger_cost_per_mile.has_value())
    out.emplace_back(inputs.cost_per_mile ? "challenger_cost_per_mile" : "cost_per_mile");
  // What is told by the year needs its other half for as many years.
  const auto pair = [&](const ByYear& of, const ByYear& other, const char* key) {
    if (of.size() != other.size()) out.push_back(fmt::format("{} of {} years", key, of.size()));
  };
  const ByYear& challenger = inputs.challenger_resale_by_year;
  if (challenger.empty())
    pair(inputs.challenger_repairs_by_year, challenger, "challenger_resale_by_year");
  else if (!inputs.challenger_repairs_by_year.empty() || !inputs.challenger_repairs)
    pair(challenger, inputs.challenger_repairs_by_year, "challenger_repairs_by_year");
  if (inputs.resale_by_year.empty() && !inputs.repairs_by_year.empty())
    pair(inputs.repairs_by_year, inputs.resale_by_year, "resale_by_year");
  else
    pair(inputs.resale_by_year, inputs.repairs_by_year, "repairs_by_year");
  if (!inputs.challenger_years && challenger.empty()) out.emplace_back("challenger_years");
  if (!inputs.hire_per_lost_day) out.emplace_back("hire_per_lost_day");
  if (!inputs.rate) out.emplace_back("rate_pct");
  if (!inputs.rate_basis) out.emplace_back("rate_kind");
  return out;
}

KeepOrSell keep_or_sell(const KeepInputs& inputs) {
  Drawn likely;
  for (const InputRule& rule : kInputs)
    if (const auto& range = inputs.*rule.range) likely.*rule.drawn = range->likely;
  for (const ByYearRule& rule : kByYear)
    for (const ThreePoint& year : inputs.*rule.range) (likely.*rule.drawn).push_back(year.likely);

  std::mt19937 random{kDrawSeed};
  const auto random_share = [&] { return static_cast<double>(random()) / 4294967296.0; };  // 2^32
  std::vector<double> prices, keeping, challenger;
  int selling = 0;
  for (int draw = 0; draw < kKeepDraws; ++draw) {
    Drawn drawn = likely;
    for (const InputRule& rule : kInputs) {
      const double u = random_share();
      if (const auto& range = inputs.*rule.range) drawn.*rule.drawn = triangular(*range, u);
    }
    for (const ByYearRule& rule : kByYear) {
      if ((inputs.*rule.range).empty()) continue;
      const double u = random_share();
      for (std::size_t k = 0; k < (inputs.*rule.range).size(); ++k)
        (drawn.*rule.drawn)[k] = triangular((inputs.*rule.range)[k], u);
    }
    const Outcome outcome = outcome_of(inputs, drawn);
    prices.push_back(outcome.break_even);
    keeping.push_back(outcome.keeping_per_mile);
    challenger.push_back(outcome.challenger_per_mile);
    selling += outcome.selling_is_cheaper;
  }
  const Outcome middle = outcome_of(inputs, likely);
  KeepOrSell out;
  out.break_even_price = figure_of_draws(middle.break_even, std::move(prices));
  out.keeping_per_mile = figure_of_draws(middle.keeping_per_mile, std::move(keeping));
  out.challenger_per_mile = figure_of_draws(middle.challenger_per_mile, std::move(challenger));
  out.keeping_years = middle.keeping_years;
  out.challenger_years = middle.challenger_years;
  out.keeping_searched = inputs.resale_by_year.size() > 1;
  out.challenger_searched = inputs.challenger_resale_by_year.size() > 1;
  out.selling_is_cheaper = static_cast<double>(selling) / kKeepDraws;
  if (out.selling_is_cheaper >= kDecidedShare) out.verdict = KeepVerdict::sell;
  if (out.selling_is_cheaper <= 1 - kDecidedShare) out.verdict = KeepVerdict::keep;

  for (const InputRule& rule : kInputs) {
    const auto& range = inputs.*rule.range;
    if (!range || !(range->high > range->low)) continue;
    // What the van would fetch is held against the break-even price, and is no part
    // of it: what it moves is the distance between the two.
    const bool fetched = rule.range == &KeepInputs::resale_now;
    Drawn low = likely, high = likely;
    low.*rule.drawn = range->low;
    high.*rule.drawn = range->high;
    const auto distance = [&](const Drawn& drawn) {
      const double price = outcome_of(inputs, drawn).break_even;
      return fetched ? middle.break_even + likely.resale_now - drawn.resale_now : price;
    };
    out.swings.push_back({rule.key, distance(low), distance(high), !fetched});
  }
  for (const ByYearRule& rule : kByYear) {
    const ByYear& range = inputs.*rule.range;
    if (std::ranges::none_of(range, [](const ThreePoint& p) { return p.high > p.low; })) continue;
    Drawn low = likely, high = likely;
    for (std::size_t k = 0; k < range.size(); ++k) {
      (low.*rule.drawn)[k] = range[k].low;
      (high.*rule.drawn)[k] = range[k].high;
    }
    out.swings.push_back(
        {rule.key, outcome_of(inputs, low).break_even, outcome_of(inputs, high).break_even, true});
  }
  std::ranges::stable_sort(out.swings, std::ranges::greater{}, [](const InputSwing& swing) {
    // Equal ones keep their order, whatever the last bits say.
    return std::round(swing.width() * 1e4);
  });
  out.basis =
      fmt::format("{} rate of {:.3g} %", *inputs.rate_basis == RateBasis::real ? "real" : "nominal",
                  *inputs.rate * 100);
  if (!inputs.cost_per_mile) out.basis += "; energy is left out of both vans";
  out.basis += "; no tax and no subsidy unless they are in the prices entered";
  return out;
}

}  // namespace packmile
