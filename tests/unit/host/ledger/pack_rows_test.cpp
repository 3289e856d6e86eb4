// Rows of capacity and fade for a period.
#include "ledger/pack_rows.hpp"

#include <doctest/doctest.h>

#include <algorithm>

using namespace packmile;
using namespace std::chrono;

namespace {

UtcTime on(int year, unsigned month, unsigned day) {
  return sys_days{std::chrono::year{year} / month / day};
}

const Zone& utc() {
  static const Zone zone = Zone::find("UTC").value();
  return zone;
}

CapacityRow row_at(CapacityScope scope, std::optional<UtcTime> date) {
  CapacityRow row;
  row.scope = scope;
  row.date = date;
  return row;
}

// 24 months from January 2024, 150 Ah that lose 3 % a year.
FadeSource two_years() {
  FadeSource source;
  const int first = month_of(on(2024, 1, 1), {});
  for (int m = 0; m < 24; ++m) {
    const double wobble = m % 2 == 0 ? 0.1 : -0.1;
    source.points.push_back({first + m,
                             150 * (1 - 0.03 * m / 12) + wobble,
                             0.2,
                             0.9,
                             0.3,
                             20'000 + 2'000.0 * m,
                             m / 12.0,
                             {}});
  }
  source.witness = {WitnessVerdict::agrees_moving, "they agree"};
  source.age_since_logged = true;
  return source;
}

const FadeRow& of(const std::vector<FadeRow>& rows, FadeAxis axis) {
  return *std::ranges::find(rows, axis, &FadeRow::against);
}

bool says(const std::string& text, std::string_view word) {
  return text.find(word) != std::string::npos;
}

}  // namespace

TEST_CASE("pack rows: a period takes rows by their date, months by their middle") {
  const std::vector<CapacityRow> rows{
      row_at(CapacityScope::charge, on(2026, 2, 27)),
      row_at(CapacityScope::charge, on(2026, 3, 27)), row_at(CapacityScope::month, on(2026, 2, 1)),
      row_at(CapacityScope::month, on(2026, 3, 1)), row_at(CapacityScope::latest, std::nullopt)};
  CHECK(capacity_in(rows, {}).size() == 5);
  // March in a zone five hours behind UTC.
  const auto march = capacity_in(rows, {on(2026, 3, 1) + hours{5}, on(2026, 4, 1) + hours{5}});
  REQUIRE(march.size() == 2);
  CHECK(march[0].date == on(2026, 3, 27));
  CHECK(march[1].date == on(2026, 3, 1));
  const auto none = capacity_in(rows, {on(2027, 1, 1), std::nullopt});
  REQUIRE(none.size() == 1);
  CHECK_FALSE(none[0].ah.figure);
  CHECK(says(none[0].ah.why, "--from"));
  CHECK(row_of({"Linden", ""}, none[0]).size() == capacity_columns().size());
}

TEST_CASE("pack rows: a van that was never logged says what would tell its capacity") {
  VanFacts facts;
  facts.nominal_ah = 160;
  const auto rows = capacity_unseen(facts, {}, utc());
  REQUIRE(rows.size() == 2);
  CHECK(rows[0].method == CapacityMethod::controller_edges);
  CHECK_FALSE(rows[0].ah.figure);
  CHECK(says(rows[0].reason, "30 points"));
  CHECK(rows[1].method == CapacityMethod::soc_nominal);
  CHECK(rows[1].ah.figure->low < 150);  // an owner's entry is no measurement
  CHECK(rows[1].ah.figure->high > 170);
  CHECK_FALSE(rows[1].date.has_value());
  CHECK(capacity_unseen({}, {}, utc()).size() == 1);
}

TEST_CASE("pack rows: charge that flowed counts from the van's beginning, by its odometer") {
  VanFacts facts;
  facts.nominal_ah = 100;
  VanFigures figures;
  for (const unsigned month : {1u, 2u}) {
    Trip trip;
    trip.start = on(2026, month, 10);
    trip.discharge_ah = MaybeFigure::known({300, 290, 310, 1});
    trip.distance_km = MaybeFigure::known({600, 590, 610, 1});
    figures.trips.push_back(trip);
  }
  Stand stand;
  stand.start = on(2026, 2, 11);
  stand.discharge_ah = MaybeFigure::known({40, 39, 41, 1});
  figures.stands.push_back(stand);
  const PackFacts since = pack_facts_of(facts, {}, figures, utc());
  CHECK(since.discharged_since_logged);
  REQUIRE(since.discharged_ah.size() == 2);
  CHECK(since.discharged_ah[0].second == doctest::Approx(150));
  CHECK(since.discharged_ah[1].second == doctest::Approx(300 + 170));
  figures.odometer_first_km = 20'000;
  const PackFacts whole = pack_facts_of(facts, {}, figures, utc());
  CHECK_FALSE(whole.discharged_since_logged);
  CHECK(whole.discharged_ah[0].second == doctest::Approx(20'000 * 0.5 + 150));
}

TEST_CASE("pack rows: the pack's age counts from the van's first use") {
  VanFacts facts;
  CHECK_FALSE(pack_facts_of(facts, {}, {}, utc()).first_used);
  facts.first_used = std::chrono::sys_days{std::chrono::year{2024} / 2 / 29};
  CHECK(pack_facts_of(facts, {}, {}, utc()).first_used == UtcTime{*facts.first_used});
}

TEST_CASE("pack rows: the owner's line is per cent left, the fade's is per cent lost") {
  Expectation expectation;
  expectation.against = Expectation::Against::age_years;
  expectation.points = {{1, 98}, {8, 70}};
  const PackFacts facts = pack_facts_of({}, expectation, {}, utc());
  REQUIRE(facts.expectations.size() == 1);
  CHECK(facts.expectations[0].against == FadeAxis::age_years);
  CHECK(facts.expectations[0].lost_pct_at(0.5).value() == doctest::Approx(1));
  CHECK(facts.expectations[0].lost_pct_at(8).value() == doctest::Approx(30));
  expectation.against = Expectation::Against::odometer_km;
  CHECK(pack_facts_of({}, expectation, {}, utc()).expectations[0].against == FadeAxis::odometer_km);
}

TEST_CASE("pack rows: the slope is made from the months of the period, a verdict from all") {
  PackFacts facts;
  facts.expectations = {{FadeAxis::odometer_km, {{200'000, 10}}}};
  const FadeSource source = two_years();
  const auto whole = fade_in(source, {}, facts, utc());
  REQUIRE(whole.size() == 3);
  const FadeRow& by_way = of(whole, FadeAxis::odometer_km);
  CHECK(by_way.n_months == 24);
  REQUIRE(by_way.slope_pct_per_unit.figure);
  // 3 % a year at 24,000 km a year.
  CHECK(by_way.slope_pct_per_unit.figure->value * 24'000 == doctest::Approx(3).epsilon(0.05));
  CHECK(by_way.against_expectation == LineVerdict::worse);
  CHECK(by_way.first_month == source.points.front().month);
  CHECK(of(whole, FadeAxis::age_years).slope_pct_per_unit.figure);
  CHECK_FALSE(of(whole, FadeAxis::full_cycles).slope_pct_per_unit.figure);
  CHECK(says(of(whole, FadeAxis::full_cycles).reason, "nominal_ah"));

  const auto year = fade_in(source, {on(2024, 1, 1), on(2025, 1, 1)}, facts, utc());
  const FadeRow& first = of(year, FadeAxis::odometer_km);
  CHECK(first.n_months == 12);
  CHECK(first.slope_pct_per_unit.figure);
  CHECK(first.against_expectation == LineVerdict::cannot_tell);
  CHECK(says(first.reason, "--from"));
  CHECK(first.findings == std::vector{Finding::seasons_show_through, Finding::scale_not_confirmed});
}

TEST_CASE("pack rows: below twelve months there is a reason, a cure, and what could be seen") {
  const FadeSource source = two_years();
  const auto half = fade_in(source, {on(2024, 1, 1), on(2024, 7, 1)}, {}, utc());
  const FadeRow& row = of(half, FadeAxis::odometer_km);
  CHECK(row.n_months == 6);
  CHECK_FALSE(row.slope_pct_per_unit.figure);
  CHECK(says(row.slope_pct_per_unit.why, "12 months"));
  CHECK(says(row.slope_pct_per_unit.why, "log on"));
  REQUIRE(row.smallest_detectable_pct_per_year);
  CHECK(*row.smallest_detectable_pct_per_year > 0.5);
  CHECK(*row.smallest_detectable_pct_per_year < 5);
  const auto one = fade_in(source, {on(2024, 1, 1), on(2024, 2, 1)}, {}, utc());
  const FadeRow& single = of(one, FadeAxis::odometer_km);
  CHECK(single.n_months == 1);
  CHECK_FALSE(single.smallest_detectable_pct_per_year);
  CHECK(says(single.smallest_detectable_why, "points a year"));
  const auto none = fade_in({}, {}, {}, utc());
  REQUIRE(none.size() == 3);
  for (const FadeRow& nothing : none) {
    CHECK(nothing.n_months == 0);
    CHECK(says(nothing.reason, "five charges"));
    CHECK(row_of({"Linden", ""}, nothing, utc()).size() == fade_columns().size());
  }
}

TEST_CASE("pack rows: an expectation by age says nothing where the van's beginning is not known") {
  PackFacts facts;
  facts.expectations = {{FadeAxis::age_years, {{10, 10}}}};
  FadeSource source = two_years();
  const auto unknown = fade_in(source, {}, facts, utc());
  CHECK(of(unknown, FadeAxis::age_years).against_expectation == LineVerdict::cannot_tell);
  CHECK(says(of(unknown, FadeAxis::age_years).reason, "new is not known"));
  source.age_since_logged = false;
  CHECK(of(fade_in(source, {}, facts, utc()), FadeAxis::age_years).against_expectation ==
        LineVerdict::worse);
}
