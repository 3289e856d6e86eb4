#include "duty/part_life.hpp"

#include <algorithm>
#include <cmath>

namespace packmile {
namespace {

constexpr double kMonthsPerYear = 12;
constexpr char kNoLimit[] = "fleet.toml names no limit for it";
constexpr char kNeverDue[] = "nothing was used lately: at this rate it is never due";
constexpr char kTooFar[] = "more than 100 years away at this rate";

MaybeFigure exact(double value) { return MaybeFigure::known({value, value, value, 0}); }

void set_due(RuleState& state, const Left& left, const UseRateOrWhy& rate, LocalDay today) {
  if (left.amount <= 0) {
    state.due = DueDates{today, today, today};
    state.basis = "it is used up";
    return;
  }
  if (!rate.rate) {
    state.due_why = rate.why;
    return;
  }
  const auto days = days_until(left, *rate.rate);
  if (!days) {
    state.due_why = kNeverDue;
    return;
  }
  state.due = due_from(today, *days);
  if (state.due)
    state.basis = rate.rate->basis;
  else
    state.due_why = kTooFar;
}

}  // namespace

std::string_view word_of(PartRule rule) {
  switch (rule) {
    case PartRule::distance:
      return "distance";
    case PartRule::age:
      return "age";
    case PartRule::hours:
      return "hours";
    case PartRule::starts:
      return "starts";
    case PartRule::energy:
      return "energy";
    case PartRule::measured:
      return "measured";
  }
  return "";
}

std::string_view unit_of(PartRule rule) {
  switch (rule) {
    case PartRule::distance:
      return "km";
    case PartRule::age:
      return "years";
    case PartRule::hours:
      return "h";
    case PartRule::starts:
      return "starts";
    case PartRule::energy:
      return "kWh";
    case PartRule::measured:
      return "mm";
  }
  return "";
}

RuleState state_by_counter(PartRule rule, const MaybeFigure& used, std::optional<double> limit,
                           const UseRateOrWhy& rate, LocalDay today) {
  RuleState state;
  state.rule = rule;
  state.used = used;
  state.limit = limit;
  if (!limit) {
    state.limit_why = kNoLimit;
    state.remaining = MaybeFigure::unknown(kNoLimit);
    state.due_why = kNoLimit;
    return state;
  }
  if (!used.figure) {
    state.remaining = MaybeFigure::unknown(used.why);
    state.due_why = used.why;
    return state;
  }
  const Figure& f = *used.figure;
  const Figure left{*limit - f.value, *limit - f.high, *limit - f.low, f.scatter};
  state.remaining = MaybeFigure::known(left);
  state.share = f.value / *limit;
  set_due(state, {left.value, (left.value - left.low) / kZ95, (left.high - left.value) / kZ95},
          rate, today);
  return state;
}

RuleState state_by_age(std::optional<LocalDay> from, const std::string& from_why,
                       std::optional<int> limit_months, LocalDay today) {
  RuleState state;
  state.rule = PartRule::age;
  state.used = from ? exact(years_between(*from, today)) : MaybeFigure::unknown(from_why);
  if (!limit_months) {
    state.limit_why = kNoLimit;
    state.remaining = MaybeFigure::unknown(kNoLimit);
    state.due_why = kNoLimit;
    return state;
  }
  state.limit = *limit_months / kMonthsPerYear;
  if (!from) {
    state.remaining = MaybeFigure::unknown(from_why);
    state.due_why = from_why;
    return state;
  }
  const LocalDay due = months_later(*from, *limit_months);
  state.remaining = exact(years_between(today, due));
  state.due = DueDates{due, due, due};
  state.share =
      static_cast<double>((today - *from).count()) / static_cast<double>((due - *from).count());
  return state;
}

RuleState state_by_measure(std::span<const DepthReading> readings, double limit_mm,
                           std::optional<double> now_km, const UseRateOrWhy& km_rate,
                           LocalDay today) {
  RuleState state;
  state.rule = PartRule::measured;
  state.limit = limit_mm;
  if (readings.empty()) {
    const std::string why = "it was never measured; note what the gauge says";
    state.used = state.remaining = MaybeFigure::unknown(why);
    state.due_why = why;
    return state;
  }
  const WearOrWhy fit = fit_wear(readings);
  const DepthReading& last = readings.back();
  // Where its life began: of what lies before a rise nothing counts.
  const DepthReading& first = fit.wear ? fit.wear->readings.front() : readings.front();
  const double worn = first.depth_mm - last.depth_mm;
  const double u_worn =
      &first == &last || first.id == last.id ? 0 : std::hypot(first.gauge_u_mm, last.gauge_u_mm);
  state.used = MaybeFigure::known(figure_of(worn, u_worn, 0));
  const double left_mm = last.depth_mm - limit_mm;
  state.remaining = MaybeFigure::known(figure_of(left_mm, last.gauge_u_mm, 0));
  if (first.depth_mm > limit_mm) state.share = worn / (first.depth_mm - limit_mm);
  if (left_mm <= 0) {
    set_due(state, {}, km_rate, today);
    return state;
  }
  if (!fit.wear) {
    state.due_why = fit.why;
    return state;
  }
  if (!now_km) {
    state.due_why = "the odometer is not known; note it";
    return state;
  }
  set_due(state, km_to_limit(*fit.wear, limit_mm, *now_km).left(), km_rate, today);
  return state;
}

PartLife judge_part(std::vector<RuleState> rules) {
  PartLife out;
  const RuleState* first = nullptr;
  for (const RuleState& state : rules) {
    auto& share = state.rule == PartRule::age ? out.age_share : out.used_share;
    if (state.share && (!share || *state.share > *share)) share = state.share;
    if (state.due && (first == nullptr || state.due->likely < first->due->likely)) first = &state;
    if (!state.due && out.decided_why.empty()) out.decided_why = state.due_why;
  }
  if (first != nullptr) {
    out.decided_by = first->rule;
    out.decided_why.clear();
  }
  if (rules.empty()) out.decided_why = kNoLimit;
  out.rules = std::move(rules);
  return out;
}

}  // namespace packmile
