// One part at one place of a van: what it has lived through by each rule of its
// life, what is left, and which rule comes first.
//
// Input     what was used since it was fitted, its limits, how much the van is
//           used a day.
// Output    one state a rule, and the rule that decides.
// Rule      the one whose likely date is earliest decides; one that is used up
//           comes before all others. Duty and age stand side by side as shares.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "duty/due.hpp"
#include "duty/wear.hpp"
#include "figure.hpp"

namespace packmile {

enum class PartRule : std::uint8_t { distance, age, hours, starts, energy, measured };
[[nodiscard]] std::string_view word_of(PartRule rule);
// km, years, h, starts, kWh, mm
[[nodiscard]] std::string_view unit_of(PartRule rule);

struct RuleState {
  PartRule rule = PartRule::distance;
  MaybeFigure used;             // in unit_of(rule), since it was fitted
  std::optional<double> limit;  // absent: the owner gave none
  std::string limit_why;
  MaybeFigure remaining;  // below 0: overdue by so much
  std::optional<DueDates> due;
  std::string due_why;
  std::string basis;  // what the date rests on; empty: no date, or an exact one
  // used / limit; of a measured part, worn / may be worn. Absent where either is.
  std::optional<double> share;
};

// used: by distance, hours, starts or energy.
[[nodiscard]] RuleState state_by_counter(PartRule rule, const MaybeFigure& used,
                                         std::optional<double> limit, const UseRateOrWhy& rate,
                                         LocalDay today);
// from: absent with `from_why`. limit_months: absent: none.
[[nodiscard]] RuleState state_by_age(std::optional<LocalDay> from, const std::string& from_why,
                                     std::optional<int> limit_months, LocalDay today);
// readings: of the part that is there now, in order of km; km_rate: of the van.
// now_km: absent: the odometer is not known.
[[nodiscard]] RuleState state_by_measure(std::span<const DepthReading> readings, double limit_mm,
                                         std::optional<double> now_km, const UseRateOrWhy& km_rate,
                                         LocalDay today);

struct PartLife {
  std::vector<RuleState> rules;
  std::optional<PartRule> decided_by;
  std::string decided_why;           // why nothing decides
  std::optional<double> used_share;  // the greatest of duty: all rules but age
  std::optional<double> age_share;
};
[[nodiscard]] PartLife judge_part(std::vector<RuleState> rules);

}  // namespace packmile
