// One part at one place of a van: what it has lived through by each rule of its
// life, what is left, and which rule comes first.
//
// Input     what was used since it was fitted, its limits, how much the van is
//           used a day.
// Output    one state a rule, and the rule that decides.
// Rule      the one whose likely date is earliest decides; of what is used up, the
//           one that was first. What else may come first is named beside it: a rule
//           whose range begins before the end of that one's, or whose date is not
//           known. Duty and age stand side by side as shares.
// Time      a counter is known up to some day; from then until today it goes on at
//           its rate, which widens used and remaining. Dates count from that day.
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
  // In unit_of(rule), since it was fitted; of what is measured, what it lost since it was
  // measured first.
  MaybeFigure used;
  std::optional<double> limit;  // absent: the owner gave none
  std::string limit_why;
  MaybeFigure remaining;  // below 0: overdue by so much
  std::optional<DueDates> due;
  std::string due_why;
  std::string basis;  // what the date rests on; empty: no date, or an exact one
  // By a counter that is not known to today: until when it is, and whether the days since
  // are in used, at the rate of use.
  std::optional<LocalDay> counted_to;
  bool counted_on = false;
  bool never = false;  // no date, as at this rate it is further than anybody plans
  // used / limit; of a measured part, worn / may be worn. Absent where either is, or
  // where a measured part was not measured when it was new.
  std::optional<double> share;
};

// used: by distance, hours, starts or energy, up to known_to. passed: when it went past
// the limit; absent: not known.
[[nodiscard]] RuleState state_by_counter(PartRule rule, const MaybeFigure& used,
                                         std::optional<double> limit, const UseRateOrWhy& rate,
                                         LocalDay known_to, LocalDay today,
                                         const std::optional<DueDates>& passed = {});
// from: absent with `from_why`. limit_months: absent: none. not_before: it was fitted
// on some day from then to `from`; absent: on `from`.
[[nodiscard]] RuleState state_by_age(std::optional<LocalDay> from, const std::string& from_why,
                                     std::optional<int> limit_months, LocalDay today,
                                     std::optional<LocalDay> not_before = {});

struct Measured {
  std::vector<DepthReading> readings;  // of the part that is there now, in order of days
  std::vector<WearBorder> borders;     // when it came to another axle
  bool since_new = false;              // the first one is of when it was new
};
// km_rate: of the van. now_km: the odometer on known_to; absent: it is not known.
[[nodiscard]] RuleState state_by_measure(const Measured& part, double limit_mm,
                                         const MaybeFigure& now_km, const UseRateOrWhy& km_rate,
                                         LocalDay known_to);
// How fast it wears where it is now.
[[nodiscard]] WearOrWhy wear_of(const Measured& part);

struct PartLife {
  std::vector<RuleState> rules;
  std::optional<PartRule> decided_by;
  std::string decided_why;  // why nothing decides
  // What else may come first, and why that is not sure; empty: nothing.
  std::string perhaps;
  std::optional<double> used_share;  // the greatest of duty: all rules but age
  std::optional<double> age_share;
};
[[nodiscard]] PartLife judge_part(std::vector<RuleState> rules);

}  // namespace packmile
