// Rows of `upkeep`: keys and cells.
#include <fmt/format.h>

#include "ledger/upkeep.hpp"

namespace packmile {
namespace {

Cell text_or(const std::string& text, const std::string& why) {
  return text.empty() ? Cell::unknown(why) : Cell{text, {}};
}

Cell day_or(const std::optional<LocalDay>& day, const std::string& why) {
  return day ? Cell{text_of(*day), {}} : Cell::unknown(why.empty() ? "not known" : why);
}

Cell number_or(const std::optional<double>& value, const std::string& why) {
  return value ? Cell{*value, {}} : Cell::unknown(why.empty() ? "not known" : why);
}

// Three cells: likely, earliest, latest.
void push_due(Row& row, const std::optional<DueDates>& due, const std::string& why) {
  row.push_back(due ? Cell{text_of(due->likely), {}}
                    : Cell::unknown(why.empty() ? "not known" : why));
  row.push_back(due ? Cell{text_of(due->earliest), {}}
                    : Cell::unknown(why.empty() ? "not known" : why));
  if (!due)
    row.push_back(Cell::unknown(why.empty() ? "not known" : why));
  else
    row.push_back(day_or(due->latest, "the rate of use may be nothing: no latest day"));
}

}  // namespace

std::vector<Column> upkeep_columns() {
  using enum ColumnKind;
  return {{"van", text, false},
          {"vin", text, true},
          {"part", text, false},
          {"position", text, true},
          {"rule", text, false},
          {"unit", text, false},
          {"last", day, true},
          {"last_source", text, true},
          {"last_km", figure, true},
          {"used", figure, true},
          {"limit", real, true},
          {"remaining", figure, true},
          {"due", day, true},
          {"due_low", day, true},
          {"due_high", day, true},
          {"due_basis", text, true},
          {"decided_by", text, true},
          {"used_share", real, true},
          {"age_share", real, true},
          {"use_per_day", real, true},
          {"mm_per_1000_km", figure, true},
          {"legal_limit_mm", real, true},
          {"legal_due", day, true},
          {"legal_due_low", day, true},
          {"legal_due_high", day, true},
          {"friction_share", figure, true},
          {"odometer_km", figure, true},
          {"equivalent_years", figure, true},
          {"as_of", day, false},
          {"remark", text, false},
          {"legal_remaining_mm", figure, true},
          {"legal_source", text, true},
          {"calendar_years", real, true}};
}

Row row_of(const VanUpkeep& van, const UpkeepRow& upkeep) {
  const RuleState& state = upkeep.state;
  Row row = row_begin(van.names);
  row.push_back({upkeep.part, {}});
  row.push_back(text_or(upkeep.position, "this part has no place of its own"));
  row.push_back({std::string{word_of(state.rule)}, {}});
  row.push_back({std::string{unit_of(state.rule)}, {}});
  row.push_back(day_or(upkeep.last, upkeep.last_source));
  row.push_back(upkeep.last ? Cell{upkeep.last_source, {}} : Cell::unknown(upkeep.last_source));
  row.push_back(Cell::of(upkeep.last_km));
  row.push_back(Cell::of(state.used));
  row.push_back(number_or(state.limit, state.limit_why));
  row.push_back(Cell::of(state.remaining));
  push_due(row, state.due, state.due_why);
  row.push_back(text_or(state.basis, state.due ? "a calendar needs none" : state.due_why));
  row.push_back(upkeep.decided_by ? Cell{std::string{word_of(*upkeep.decided_by)}, {}}
                                  : Cell::unknown(upkeep.decided_why));
  row.push_back(number_or(upkeep.used_share, upkeep.used_share_why));
  row.push_back(number_or(upkeep.age_share, upkeep.age_share_why));
  row.push_back(upkeep.rate.rate ? Cell{upkeep.rate.rate->per_day, {}}
                                 : Cell::unknown(upkeep.rate.why));
  row.push_back(Cell::of(upkeep.mm_per_1000_km));
  const char* no_law = "no law's least tread belongs to this rule";
  row.push_back(number_or(upkeep.legal_limit_mm, no_law));
  push_due(row, upkeep.legal_due, upkeep.legal_limit_mm ? upkeep.legal_due_why : no_law);
  row.push_back(upkeep.is_pad ? Cell::of(van.friction_share)
                              : Cell::unknown("only pads and discs wear by it"));
  row.push_back(Cell::of(van.odometer_km));
  row.push_back(Cell::of(van.equivalent_years));
  row.push_back({text_of(van.today), {}});
  row.push_back({upkeep.remark, {}});
  row.push_back(upkeep.legal_limit_mm ? Cell::of(upkeep.legal_remaining_mm)
                                      : Cell::unknown(no_law));
  row.push_back(upkeep.legal_limit_mm ? Cell{std::string{kLegalTreadSource}, {}}
                                      : Cell::unknown(no_law));
  row.push_back(number_or(van.calendar_years, van.calendar_why));
  return row;
}

}  // namespace packmile
