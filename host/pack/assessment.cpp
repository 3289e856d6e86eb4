#include "pack/assessment.hpp"

#include <algorithm>
#include <cmath>

namespace packmile {
namespace {

constexpr double kYearMs = 365.25 * 86.4e6;
constexpr std::int64_t kHalfMonthMs = std::int64_t{15} * 86'400'000;

std::vector<FadePoint> fade_points(const CapacityFindings& capacity, const PackFacts& facts,
                                   const std::optional<Zone>& zone) {
  std::vector<FadePoint> points;
  for (const MonthCapacity& month : capacity.months) {
    // The ledger holds numbers alone.
    if (!(month.ah > 0) ||
        !std::isfinite(month.ah + month.u_random_ah + month.u_gain_ah + month.u_offset_ah)) {
      continue;
    }
    FadePoint point;
    point.month = month.month;
    point.ah = month.ah;
    point.u_random_ah = month.u_random_ah;
    point.u_gain_ah = month.u_gain_ah;
    point.u_offset_ah = month.u_offset_ah;
    point.odometer_km = month.odometer_km;
    // Without its beginning the age counts from the first of these months.
    const UtcTime first_used =
        facts.first_used.value_or(start_of_month(capacity.months.front().month, zone) +
                                  std::chrono::milliseconds{kHalfMonthMs});
    const auto middle_ms =
        start_of_month(month.month, zone).time_since_epoch().count() + kHalfMonthMs;
    const auto age_ms = static_cast<double>(middle_ms - first_used.time_since_epoch().count());
    if (age_ms >= 0) point.age_years = age_ms / kYearMs;
    for (const auto& [of_month, ah] : facts.discharged_ah) {
      if (of_month == month.month && facts.nominal_ah && *facts.nominal_ah > 0) {
        point.full_cycles = ah / *facts.nominal_ah;
      }
    }
    points.push_back(point);
  }
  return points;
}

// The fullest series of the months' own segment.
const WindowSeries* window_of(const CapacityFindings& capacity) {
  if (capacity.months.empty()) return nullptr;
  const WindowSeries* first = nullptr;
  for (const WindowSeries& series : capacity.windows) {
    if (series.segment != capacity.months.front().segment) continue;
    if (series.change) return &series;
    if (first == nullptr) first = &series;
  }
  return first;
}

}  // namespace

PackAssessment assess_pack(const PackObservations& observations, const PackFacts& facts,
                           const CapacityRules& rules) {
  PackAssessment result;
  CapacityInput input;
  input.charges = observations.charges;
  input.profiles = observations.profiles;
  input.rests = &observations.rests;
  input.resistances = observations.resistances;
  input.reported = observations.reported;
  input.re_anchors = observations.re_anchors;
  input.nominal_ah = facts.usable_ah ? facts.usable_ah : facts.nominal_ah;
  input.offsets = observations.offsets;
  input.gains = observations.gains;
  input.rules = rules;
  result.capacity = combine_capacity(input);
  result.resistance = tell_resistance_trend(observations.resistances);

  std::vector<RestPoint> rested;
  for (const RestPoint& p : observations.rests.points) {
    if (p.segment == result.capacity.last_segment) rested.push_back(p);
  }
  result.rest_drift = tell_rest_drift(rested);

  result.fade_points = fade_points(result.capacity, facts, rules.zone);
  result.age_since_logged = !facts.first_used;
  result.cycles_since_logged = facts.discharged_since_logged;
  const std::vector<FadePoint>& points = result.fade_points;
  std::vector<MonthValue> months;
  for (const FadePoint& p : points) {
    months.push_back({p.month, static_cast<double>(p.month), p.ah, p.u_random_ah});
  }
  WitnessInput witness;
  witness.months = months;
  witness.window = window_of(result.capacity);
  witness.drift = &result.rest_drift;
  witness.edges_ah = result.capacity.edges_ah;
  witness.rest_ah = result.capacity.rest_ah;
  witness.n_risen_at_rest = observations.rests.n_risen_at_rest;
  result.witness = hear_witness(witness);

  FadeInput fade;
  fade.points = points;
  fade.usable_ah = facts.usable_ah;
  fade.age_since_logged = result.age_since_logged;
  fade.cycles_since_logged = result.cycles_since_logged;
  fade.expectations = facts.expectations;
  fade.witness = result.witness;
  result.fade = build_fade_rows(fade);

  // The latest capacity says what the fade says; one row that is decided is enough.
  const FadeRow* said = nullptr;
  for (const FadeRow& row : result.fade) {
    if (!row.expected_pct) continue;
    const bool decided = row.against_expectation != LineVerdict::cannot_tell;
    if (said == nullptr || (decided && said->against_expectation == LineVerdict::cannot_tell)) {
      said = &row;
    }
  }
  // A change that nothing contradicts confirms no level: that takes the rests.
  const bool confirmed =
      result.witness.verdict == WitnessVerdict::agrees_moving || result.witness.level_agrees;
  const auto change = change_of_months_pct(months);
  for (CapacityRow& row : result.capacity.rows) {
    const bool by_controller = row.method == CapacityMethod::controller_edges ||
                               row.method == CapacityMethod::rest_to_rest;
    if (!by_controller || !row.ah.figure) continue;
    if (!confirmed) {
      row.findings.push_back(result.witness.verdict == WitnessVerdict::contradicts
                                 ? Finding::scale_contradicted
                                 : Finding::scale_not_confirmed);
    }
    if (row.method != CapacityMethod::controller_edges || row.scope != CapacityScope::latest) {
      continue;
    }
    row.change_pct = change
                         ? MaybeFigure::known(*change)
                         : MaybeFigure::unknown("fewer than six monthly values over half a year");
    if (said == nullptr) {
      row.reason += "; " + (facts.expectations.empty()
                                ? std::string("fleet.toml holds no expectation")
                                : std::string("no month can be put against the expectation"));
    } else {
      if (confirmed) row.against_expectation = said->against_expectation;
      row.reason += "; " + said->reason;
    }
    // A scale that counts with a wrong capacity gives back exactly that one.
    if (!confirmed && row.reason.find(kHowToSettle) == std::string::npos) {
      row.reason +=
          "; whether the cells hold that, nothing independent confirms: " + result.witness.reason +
          "; " + std::string(kHowToSettle);
    }
  }
  return result;
}

}  // namespace packmile
