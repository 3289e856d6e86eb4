// Upkeep: of every part of a van what it has lived through, what is left of it and
// when it is due; and what is left of each warranty.
//
// Input     the parts of fleet.toml, notes of jobs, fluids, treads, pads and moved
//           tyres, what the van did by day.
// Output    rows of `upkeep`, one a rule of a part at a place.
// Rule      a part is fitted on the last day of: its job or fluid note, the key
//           fitted, the purchase of a van that was new, a rise of what is measured
//           that no note explains. A note names a part by the part's name,
//           whatever its capitals, perhaps followed by places: "brake pads front". Tyres and pads
//           have rows where fleet.toml is silent, too, and so have the motor's and the on-board
//           charger's hours.
// Caution   it informs. The maker's schedule, the law and a competent inspection
//           decide.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "duty/part_life.hpp"
#include "ledger/brake_watch.hpp"
#include "ledger/fleet.hpp"
#include "ledger/row.hpp"
#include "ledger/van_duty.hpp"

namespace packmile {

struct UpkeepRow {
  std::string part;
  std::string position;  // fl fr rl rr front rear; empty: none of its own
  // When it was fitted; of what is measured, when it was measured last.
  std::optional<LocalDay> last;
  std::string last_source;  // "note 12", "fleet.toml", or why it is not known
  MaybeFigure last_km;      // the odometer on that day
  RuleState state;
  UseRateOrWhy rate;           // in unit_of(rule) a day; of what is measured, km a day
  MaybeFigure mm_per_1000_km;  // of what is measured
  bool is_warranty = false;
  bool is_pad = false;                   // measured as a pad: friction_share stands beside it
  std::optional<double> legal_limit_mm;  // of a tread
  std::optional<DueDates> legal_due;
  std::string legal_due_why;
  MaybeFigure legal_remaining_mm;
  // Of the whole part at this place, the same in all its rows.
  std::optional<PartRule> decided_by;
  std::string decided_why;
  std::string perhaps;  // of PartLife
  std::optional<double> used_share, age_share;
  std::string used_share_why, age_share_why;
  std::string remark;  // what else may come first, and the like; may be empty
};

struct VanUpkeep {
  VanNames names;
  std::vector<UpkeepRow> rows;  // by part, in order of the file; then by place and rule
  LocalDay today;
  MaybeFigure odometer_km;  // today
  std::optional<LocalDay> odometer_known_to;
  bool odometer_goes_on = false;  // from then on by the rate of use; else it stands
  MaybeFigure equivalent_years;   // of the whole odometer
  // Since it was first used, by whoever: what equivalent_years stands beside.
  std::optional<double> calendar_years;
  std::string calendar_why;  // why that is not known
  // Of the braking of the last kBrakingDays, 0..1: a trend, never a thickness.
  MaybeFigure friction_share;
  std::vector<std::string> missing;  // what to enter, and how
};
inline constexpr std::chrono::days kBrakingDays{28};

[[nodiscard]] VanUpkeep upkeep_of(const Fleet& fleet, const VanNames& names, const VanDuty& duty,
                                  const VanNotes& notes,
                                  const std::vector<TripBraking>& braking = {});
// Parts with their places that are likely due by a day, overdue ones among them; the
// first due first. Without what is measured, and without warranties.
struct DuePart {
  std::string part;
  LocalDay due;
};
[[nodiscard]] std::vector<DuePart> parts_due_by(const VanUpkeep& van, LocalDay day);

// The odometer in years of average use.
[[nodiscard]] MaybeFigure equivalent_years_of(const VanDuty& duty);

[[nodiscard]] std::vector<Column> upkeep_columns();
[[nodiscard]] Row row_of(const VanUpkeep& van, const UpkeepRow& upkeep);

}  // namespace packmile
