#include "duty/part_life.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace packmile {
namespace {

constexpr double kMonthsPerYear = 12;
constexpr char kNoLimit[] = "fleet.toml names no limit for it";
constexpr char kNeverDue[] = "nothing was used lately: at this rate it is never due";
constexpr char kUsedUp[] = "it is used up";
constexpr char kTooFar[] = "more than 100 years away at this rate";

// left: on `from`.
void set_due(RuleState& state, const Left& left, const UseRateOrWhy& rate, LocalDay from,
             const std::optional<DueDates>& passed = {}) {
  if (left.amount <= 0 && (passed || !rate.rate)) {
    state.due = passed ? *passed : DueDates{from, from, from};
    state.basis = kUsedUp;
    return;
  }
  if (!rate.rate) {
    state.due_why = rate.why;
    return;
  }
  const auto days = days_until(left, *rate.rate);
  if (!days) {
    state.due_why = kNeverDue;
    state.never = true;
    return;
  }
  state.due = due_from(from, *days);
  state.never = !state.due;
  if (!state.due)
    state.due_why = kTooFar;
  else
    state.basis = left.amount <= 0 ? kUsedUp : rate.rate->basis;
}

// What may come before the rule that decides. What was used up is past all doubt.
std::string perhaps_of(const std::vector<RuleState>& rules, const RuleState& first) {
  if (first.basis == kUsedUp) return {};
  std::string out;
  for (const RuleState& state : rules) {
    if (state.rule == first.rule || !state.limit || state.never) continue;
    std::string why;
    if (!state.due)
      why =
          fmt::format("{} may come first, it is not known: {}", word_of(state.rule), state.due_why);
    else if (!first.due->latest || state.due->earliest < *first.due->latest)
      why = fmt::format("{} may come first", word_of(state.rule));
    if (!why.empty()) out += (out.empty() ? "" : "; ") + why;
  }
  return out;
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
                           const UseRateOrWhy& rate, LocalDay known_to, LocalDay today,
                           const std::optional<DueDates>& passed) {
  RuleState state;
  state.rule = rule;
  state.used = used;
  if (used.figure && today > known_to) {
    state.counted_to = known_to;
    state.counted_on = rate.rate.has_value();
  }
  if (state.counted_on) {
    const Figure since = used_in(*rate.rate, static_cast<double>((today - known_to).count()));
    Figure& f = *state.used.figure;
    f = {f.value + since.value, f.low + since.low, f.high + since.high,
         std::hypot(f.scatter, since.scatter)};
  }
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
  const Figure& now = *state.used.figure;
  state.remaining =
      MaybeFigure::known({*limit - now.value, *limit - now.high, *limit - now.low, now.scatter});
  state.share = now.value / *limit;
  const Figure& then = *used.figure;
  set_due(state,
          {*limit - then.value, (then.high - then.value) / kZ95, (then.value - then.low) / kZ95},
          rate, known_to, passed);
  return state;
}

RuleState state_by_age(std::optional<LocalDay> from, const std::string& from_why,
                       std::optional<int> limit_months, LocalDay today,
                       std::optional<LocalDay> not_before) {
  RuleState state;
  state.rule = PartRule::age;
  const LocalDay earliest =
      from && not_before ? std::min(*not_before, *from) : from.value_or(LocalDay{});
  const LocalDay likely = from ? earliest + (*from - earliest) / 2 : LocalDay{};
  const auto years = [&](LocalDay at, LocalDay low, LocalDay high) {
    return MaybeFigure::known(
        {years_between(at, today), years_between(low, today), years_between(high, today), 0});
  };
  state.used = from ? years(likely, *from, earliest) : MaybeFigure::unknown(from_why);
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
  const LocalDay due = months_later(likely, *limit_months);
  state.due =
      DueDates{due, months_later(earliest, *limit_months), months_later(*from, *limit_months)};
  state.remaining =
      MaybeFigure::known({years_between(today, due), years_between(today, state.due->earliest),
                          years_between(today, *state.due->latest), 0});
  state.share =
      static_cast<double>((today - likely).count()) / static_cast<double>((due - likely).count());
  return state;
}

WearOrWhy wear_of(const Measured& part) {
  const auto own = since_rise(part.readings);
  if (own.size() < part.readings.size() || part.borders.empty()) return fit_wear(own);
  const auto here = since_border(own, part.borders);
  WearOrWhy out = fit_wear(here);
  if (!out.wear && here.size() < 2)
    out.why = fmt::format(
        "the tyre came from the other axle on {}, and axles wear tyres at rates "
        "of their own: measure it again in a month or more",
        text_of(part.borders.back().day));
  return out;
}

RuleState state_by_measure(const Measured& part, double limit_mm, const MaybeFigure& now_km,
                           const UseRateOrWhy& km_rate, LocalDay known_to) {
  const auto readings = since_rise(part.readings);
  RuleState state;
  state.rule = PartRule::measured;
  state.limit = limit_mm;
  if (readings.empty()) {
    const std::string why = "it was never measured; note what the gauge says";
    state.used = state.remaining = MaybeFigure::unknown(why);
    state.due_why = why;
    return state;
  }
  const DepthReading& last = readings.back();
  // Where its life began: of what lies before a rise nothing counts.
  const DepthReading& first = readings.front();
  // Nothing grows: what a gauge makes of it is its error.
  const double worn = std::max(0.0, first.depth_mm - last.depth_mm);
  const double u_worn = readings.size() == 1 ? 0 : std::hypot(first.gauge_u_mm, last.gauge_u_mm);
  state.used = MaybeFigure::known(figure_of(worn, u_worn, 0));
  state.used.figure->low = std::max(0.0, state.used.figure->low);
  const double left_mm = last.depth_mm - limit_mm;
  state.remaining = MaybeFigure::known(figure_of(left_mm, last.gauge_u_mm, 0));
  const bool from_new = part.since_new || readings.size() < part.readings.size();
  if (from_new && first.depth_mm > limit_mm) state.share = worn / (first.depth_mm - limit_mm);
  if (left_mm <= 0) {
    state.due = DueDates{last.day, last.day, last.day};
    state.basis = "it was measured at the limit or below";
    return state;
  }
  const WearOrWhy fit = wear_of(part);
  if (!fit.wear) {
    state.due_why = fit.why;
    return state;
  }
  if (!now_km.figure) {
    state.due_why = now_km.why;
    return state;
  }
  const Figure& now = *now_km.figure;
  Left left = km_to_limit(*fit.wear, limit_mm, now.value).left();
  left.u_low = std::hypot(left.u_low, (now.high - now.value) / kZ95);
  left.u_high = std::hypot(left.u_high, (now.value - now.low) / kZ95);
  set_due(state, left, km_rate, known_to);
  // It was above the limit when it was measured.
  if (state.due)
    for (LocalDay* day : {&state.due->earliest, &state.due->likely})
      *day = std::max(*day, last.day);
  if (state.due && state.due->latest) state.due->latest = std::max(*state.due->latest, last.day);
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
    out.perhaps = perhaps_of(rules, *first);
  }
  if (rules.empty()) out.decided_why = kNoLimit;
  out.rules = std::move(rules);
  return out;
}

}  // namespace packmile
