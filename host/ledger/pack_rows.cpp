#include "ledger/pack_rows.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <map>

namespace packmile {
namespace {

// Charge per km of less is noise over a short distance, as for one trip.
constexpr double kLeastKmForCharge = 1;
// A month belongs to the period that holds its middle: a period may begin within it.
constexpr std::chrono::days kHalfMonth{15};

bool holds_month(const Period& period, UtcTime start) { return period.holds(start + kHalfMonth); }

bool is_whole(const Period& period) { return !period.from && !period.to; }

}  // namespace

PackFacts pack_facts_of(const VanFacts& facts, const std::optional<Expectation>& expectation,
                        const VanFigures& figures, const Zone& zone) {
  PackFacts out;
  if (expectation) {
    LossLine line;
    switch (expectation->against) {
      case Expectation::Against::odometer_km:
        line.against = FadeAxis::odometer_km;
        break;
      case Expectation::Against::age_years:
        line.against = FadeAxis::age_years;
        break;
    }
    for (const ExpectationPoint& point : expectation->points)
      line.points.push_back({point.at, 100 - point.percent});
    out.expectations.push_back(std::move(line));
  }
  if (facts.first_used) out.first_used = *facts.first_used;
  out.usable_ah = facts.nominal_ah;
  out.nominal_ah = facts.nominal_ah;
  std::map<int, double> months;
  double trip_ah = 0, trip_km = 0;
  for (const Trip& trip : figures.trips) {
    if (!trip.discharge_ah.figure) continue;
    months[month_of(trip.start, zone)] += trip.discharge_ah.figure->value;
    if (!trip.distance_km.figure) continue;
    trip_ah += trip.discharge_ah.figure->value;
    trip_km += trip.distance_km.figure->value;
  }
  for (const Stand& stand : figures.stands)
    if (stand.discharge_ah.figure)
      months[month_of(stand.start, zone)] += stand.discharge_ah.figure->value;
  // Before the first record: what the odometer shows at the charge per km since.
  double before_ah = 0;
  out.discharged_since_logged = !figures.odometer_first_km || trip_km < kLeastKmForCharge;
  if (!out.discharged_since_logged) before_ah = *figures.odometer_first_km * trip_ah / trip_km;
  for (const auto& [month, ah] : months) {
    out.discharged_ah.emplace_back(month, before_ah + ah / 2);
    before_ah += ah;
  }
  return out;
}

std::vector<CapacityRow> capacity_in(std::vector<CapacityRow> rows, const Period& period) {
  if (!is_whole(period))
    std::erase_if(rows, [&](const CapacityRow& row) {
      if (!row.date) return true;
      return row.scope == CapacityScope::month ? !holds_month(period, *row.date)
                                               : !period.holds(*row.date);
    });
  if (rows.empty()) {
    CapacityRow& none = rows.emplace_back();
    none.scope = CapacityScope::latest;
    none.reason =
        "nothing about this pack is dated in the period; the whole record is told without --from "
        "and --to";
    for (MaybeFigure* figure :
         {&none.ah, &none.kwh, &none.offset_a, &none.resistance_mohm, &none.change_pct})
      *figure = MaybeFigure::unknown(none.reason);
  }
  return rows;
}

std::vector<CapacityRow> capacity_unseen(const VanFacts& facts,
                                         const std::optional<Expectation>& expectation,
                                         const Zone& zone) {
  return assess_pack({}, pack_facts_of(facts, expectation, {}, zone)).capacity.rows;
}

std::vector<FadeRow> fade_in(const FadeSource& source, const Period& period, const PackFacts& facts,
                             const Zone& zone) {
  std::vector<FadePoint> points = source.points;
  std::erase_if(points, [&](const FadePoint& point) {
    return !holds_month(period, start_of_month(point.month, zone));
  });
  FadeInput input;
  input.points = points;
  input.usable_ah = facts.usable_ah;
  input.age_since_logged = source.age_since_logged;
  input.cycles_since_logged = source.cycles_since_logged;
  input.expectations = facts.expectations;
  input.witness = source.witness;
  if (points.size() != source.points.size())
    input.witness = {WitnessVerdict::too_little,
                     "the witness is heard over the whole record: ask without --from and --to"};
  return build_fade_rows(input);
}

std::vector<ExpectedAh> expected_ah(const FadeSource& source, const PackFacts& facts) {
  std::vector<ExpectedAh> out;
  if (facts.expectations.empty() || !facts.usable_ah) return out;
  const LossLine& line = facts.expectations.front();
  for (const FadePoint& point : source.points) {
    std::optional<double> at;
    switch (line.against) {
      case FadeAxis::odometer_km:
        at = point.odometer_km;
        break;
      case FadeAxis::age_years:
        if (!source.age_since_logged) at = point.age_years;
        break;
      case FadeAxis::full_cycles:
        if (!source.cycles_since_logged) at = point.full_cycles;
        break;
    }
    if (!at) continue;
    if (const auto lost_pct = line.lost_pct_at(*at))
      out.push_back({point.month, *facts.usable_ah * (1 - *lost_pct / 100)});
  }
  return out;
}

std::vector<Column> fade_columns() {
  using enum ColumnKind;
  return {{"van", text, false},
          {"vin", text, true},
          {"against", text, false},
          {"slope_pct_per_unit", figure, true},
          {"n_months", count, false},
          {"first_month", time, true},
          {"last_month", time, true},
          {"smallest_detectable_pct_per_year", real, true},
          {"expected_pct", real, true},
          {"measured_pct", figure, true},
          {"since", text, false},
          {"witness", text, false},
          {"against_expectation", text, false},
          {"reason", text, false},
          {"findings", words, false}};
}

Row row_of(const VanNames& van, const FadeRow& fade, const Zone& zone) {
  const auto month = [&](const std::optional<int>& of) {
    return of ? Cell{start_of_month(*of, zone), {}} : Cell::unknown(fade.reason);
  };
  const auto number = [](const std::optional<double>& value, const std::string& why) {
    return value ? Cell{*value, {}} : Cell::unknown(why);
  };
  Row row;
  row.push_back({van.van, {}});
  row.push_back(van.vin.empty() ? Cell::unknown("the van never answered its VIN")
                                : Cell{van.vin, {}});
  row.push_back({std::string{word_of(fade.against)}, {}});
  row.push_back(Cell::of(fade.slope_pct_per_unit));
  row.push_back({static_cast<std::int64_t>(fade.n_months), {}});
  row.push_back(month(fade.first_month));
  row.push_back(month(fade.last_month));
  row.push_back(number(fade.smallest_detectable_pct_per_year, fade.smallest_detectable_why));
  row.push_back(number(fade.expected_pct, fade.expected_why));
  row.push_back(Cell::of(fade.measured_pct));
  row.push_back({std::string{!fade.measured_pct.figure ? "unknown"
                             : fade.since_first_logged ? "first_logged"
                                                       : "new"},
                 {}});
  row.push_back({std::string{word_of(fade.witness)}, {}});
  row.push_back({std::string{word_of(fade.against_expectation)}, {}});
  row.push_back({fade.reason, {}});
  std::vector<std::string> words;
  for (const Finding finding : fade.findings) words.emplace_back(entry_of(finding).word);
  row.push_back({std::move(words), {}});
  return row;
}

}  // namespace packmile
