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

bool may_be_left_out(const InputRule& rule) {
  return rule.range == &KeepInputs::cost_per_mile ||
         rule.range == &KeepInputs::challenger_cost_per_mile;
}

struct Outcome {
  double break_even = 0, keeping_per_mile = 0, challenger_per_mile = 0;
  bool selling_is_cheaper = false;
};

Outcome outcome_of(const KeepInputs& inputs, const Drawn& drawn) {
  const double rate = *inputs.rate, hire = *inputs.hire_per_lost_day;
  const int years = *inputs.challenger_years;
  const double challenger =
      (drawn.challenger_price - drawn.challenger_resale * present_worth(rate, years)) *
          capital_recovery(rate, years) +
      drawn.challenger_repairs + drawn.challenger_lost_days * hire +
      drawn.challenger_cost_per_mile * drawn.miles;
  const double cost = drawn.repairs_next_year + drawn.lost_days_next_year * hire +
                      drawn.cost_per_mile * drawn.miles;
  Outcome out;
  out.break_even = break_even_price(challenger, drawn.resale_next_year, cost, rate);
  const double marginal =
      drawn.resale_now - drawn.resale_next_year + rate * drawn.resale_now + cost;
  out.keeping_per_mile = marginal / drawn.miles;
  out.challenger_per_mile = challenger / drawn.miles;
  out.selling_is_cheaper = marginal > challenger;
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
    if (!(inputs.*rule.range) && !may_be_left_out(rule)) out.emplace_back(rule.key);
  // One of the two would hold a van with its energy against one without.
  if (inputs.cost_per_mile.has_value() != inputs.challenger_cost_per_mile.has_value())
    out.emplace_back(inputs.cost_per_mile ? "challenger_cost_per_mile" : "cost_per_mile");
  if (!inputs.challenger_years) out.emplace_back("challenger_years");
  if (!inputs.hire_per_lost_day) out.emplace_back("hire_per_lost_day");
  if (!inputs.rate) out.emplace_back("rate_pct");
  if (!inputs.rate_basis) out.emplace_back("rate_kind");
  return out;
}

KeepOrSell keep_or_sell(const KeepInputs& inputs) {
  Drawn likely;
  for (const InputRule& rule : kInputs)
    if (const auto& range = inputs.*rule.range) likely.*rule.drawn = range->likely;

  std::mt19937 random{kDrawSeed};
  std::vector<double> prices, keeping, challenger;
  int selling = 0;
  for (int draw = 0; draw < kKeepDraws; ++draw) {
    Drawn drawn = likely;
    for (const InputRule& rule : kInputs) {
      const double u = static_cast<double>(random()) / 4294967296.0;  // 2^32
      if (const auto& range = inputs.*rule.range) drawn.*rule.drawn = triangular(*range, u);
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
  std::ranges::stable_sort(out.swings, std::ranges::greater{},
                           [](const InputSwing& swing) { return swing.width(); });
  out.basis =
      fmt::format("{} rate of {:.3g} %", *inputs.rate_basis == RateBasis::real ? "real" : "nominal",
                  *inputs.rate * 100);
  if (!inputs.cost_per_mile) out.basis += "; energy is left out of both vans";
  out.basis += "; no tax and no subsidy unless they are in the prices entered";
  return out;
}

}  // namespace packmile
