// How long a van was awake on each local day, and how much of that was answered.
//
// Input     trips, charges and stands of its whole life.
// Output    every day of the period, those without a record with 0.
// Rule      what was heard counts on the days it lies on, by the real length of the
//           day; a silence is no awake time. A row that nothing bounds in time is
//           on no day.
#pragma once
#include <string>
#include <vector>

#include "ledger/throughput.hpp"

namespace packmile {

struct SeenDay {
  std::string day;         // "2026-03-01"
  double awake_hours = 0;  // driving, charging or standing awake
  double seen_hours = 0;   // of them, answered
};
// From the first local day with a record in [from, to) to the last one of it.
[[nodiscard]] std::vector<SeenDay> seen_days(const VanParts& parts, UtcTime from, UtcTime to,
                                             const Zone& zone);

// Longer than a weekend between days with a record.
inline constexpr std::size_t kLeastSilentDays = 4;

struct SilentDays {
  std::string first, last;  // the days without a record
  std::size_t days = 0;
  // Between the odometer's readings before and behind; unknown: one is missing.
  MaybeFigure km;
};
// Of kLeastSilentDays or more, in order. days: of seen_days().
[[nodiscard]] std::vector<SilentDays> silent_days(const std::vector<SeenDay>& days,
                                                  const TraceLines& trace, const Zone& zone);

// How often a reading of the odometer was below the one before it.
[[nodiscard]] std::size_t odometer_falls(const TraceLines& trace, const Period& period);

}  // namespace packmile
