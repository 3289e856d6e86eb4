// What a van did on each local day of its record.
//
// Input     trips, sessions, stands and cards of its whole life, up to a moment.
// Output    totals of every day from the first on record to the last.
// Method    a row counts over its time, of one that goes on behind the moment only
//           what lies before it. Moving time is distance over mean moving speed. A
//           start is a trip or a charge begun. A drive that nobody heard took what
//           those that were heard took a km, between nothing and twice that; it may
//           have been many. Charges that nobody heard are told by the balance of
//           energy: what went out beyond what came in and what the pack can hold.
// Refuses   a counter of which a row says nothing, and nothing stands in for it.
#pragma once
#include "ledger/van_duty.hpp"

namespace packmile {

struct DutyDays {
  std::vector<VanDay> days;
  std::array<std::string, kDutyCounters> unknown{};  // as in VanDuty
};
[[nodiscard]] DutyDays duty_days_of(const VanParts& parts, const Zone& zone, UtcTime as_of);

}  // namespace packmile
