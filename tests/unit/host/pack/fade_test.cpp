// Fade, the owner's line and the witness.
#include "pack/fade.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <fstream>
#include <map>
#include <random>
#include <string>

#include "host/reading/replay.hpp"

namespace packmile::testing {
namespace {

constexpr int kJanuary2026 = 2026 * 12;

Figure around(double value, double half) { return {value, value - half, value + half, half}; }

// Months of a van that loses `lost_a_year` of 150 Ah, drives 2,500 km a month
// and scatters by `sd` (both relative).
std::vector<FadePoint> made_months(std::mt19937& random, int n, double lost_a_year, double sd) {
  std::normal_distribution<double> normal;
  std::vector<FadePoint> points;
  for (int m = 0; m < n; ++m) {
    FadePoint p;
    p.month = kJanuary2026 + m;
    p.ah = 150 * (1 - lost_a_year * m / 12 + sd * normal(random));
    p.u_random_ah = 150 * sd;
    p.u_gain_ah = 0.9;
    p.u_offset_ah = 0.3;
    p.odometer_km = 40'000 + 2'500 * m;
    p.age_years = 1.5 + m / 12.0;
    points.push_back(p);
  }
  return points;
}

const FadeRow* row_of(const std::vector<FadeRow>& rows, FadeAxis axis) {
  for (const FadeRow& row : rows)
    if (row.against == axis) return &row;
  return nullptr;
}

WindowSeries window_of(Direction direction, double low_pct, double high_pct) {
  WindowSeries series;
  series.low_v = 360;
  series.high_v = 388;
  WindowChange change;
  change.direction = direction;
  change.change_pct = {(low_pct + high_pct) / 2, low_pct, high_pct, (high_pct - low_pct) / 2};
  change.capacity_low_pct = low_pct / (low_pct < 0 ? 0.8 : 3.8);
  change.capacity_high_pct = high_pct / (high_pct > 0 ? 0.8 : 3.8);
  series.change = change;
  return series;
}

std::vector<MonthValue> months_that_lose(double pct_in_all, int n = 24) {
  std::vector<MonthValue> values;
  for (int m = 0; m < n; ++m) {
    values.push_back({kJanuary2026 + m, double(m),
                      150 * (1 - pct_in_all / 100 * m / (n - 1)) + 0.1 * (m * 7 % 5 - 2), 0.2});
  }
  return values;
}

const std::vector<LossLine> kLines{
    {FadeAxis::odometer_km, {{241'401.6, 10}, {321'868.8, 14}}},  // 10 % at 150,000 miles
    {FadeAxis::age_years, {{1, 3}, {8, 17}}}};

// Rows of the axes that the points have.
std::vector<FadeRow> seen_rows(const FadeInput& input) {
  auto rows = build_fade_rows(input);
  CHECK(rows.size() == 3);
  std::erase_if(rows, [](const FadeRow& row) { return row.n_months == 0; });
  return rows;
}

}  // namespace

// Source: the worked cases of the method: 10 % at 150,000 miles, at 90,000.
TEST_CASE("expectation: worse, on, cannot tell, better, on") {
  const LossLine line{FadeAxis::odometer_km, {{150'000, 10}}};
  const auto expected = line.lost_pct_at(90'000);
  REQUIRE(expected);
  CHECK(*expected == doctest::Approx(6));
  CHECK(int(judge_against_line(around(8.5, 1.2), *expected)) == int(LineVerdict::worse));
  CHECK(int(judge_against_line(around(6.5, 1.2), *expected)) == int(LineVerdict::on));
  CHECK(int(judge_against_line(around(7, 4), *expected)) == int(LineVerdict::cannot_tell));
  CHECK(int(judge_against_line(around(2, 1.5), *expected)) == int(LineVerdict::better));
  CHECK(int(judge_against_line(around(7.5, 0.4), *expected)) == int(LineVerdict::on));
  CHECK(std::string(word_of(LineVerdict::cannot_tell)) == "cannot_tell");
}

TEST_CASE("expectation: any number of points, from nothing lost to the last") {
  const LossLine line{FadeAxis::age_years, {{1, 3}, {3, 5}, {8, 15}}};
  CHECK(*line.lost_pct_at(0) == 0);
  CHECK(*line.lost_pct_at(0.5) == doctest::Approx(1.5));
  CHECK(*line.lost_pct_at(1) == doctest::Approx(3));
  CHECK(*line.lost_pct_at(2) == doctest::Approx(4));
  CHECK(*line.lost_pct_at(5.5) == doctest::Approx(10));
  CHECK(*line.lost_pct_at(8) == doctest::Approx(15));
  CHECK_FALSE(line.lost_pct_at(8.1));
  const LossLine from_two{FadeAxis::age_years, {{0, 2}, {4, 10}}};
  CHECK(*from_two.lost_pct_at(0) == doctest::Approx(2));
  CHECK(*from_two.lost_pct_at(1) == doctest::Approx(4));
  CHECK_FALSE(line.lost_pct_at(-1));
  CHECK_FALSE(LossLine{}.lost_pct_at(1));
}

TEST_CASE("witness: each way that controller and cells can stand to each other") {
  const auto heard = [](const std::vector<MonthValue>& months, const WindowSeries& window) {
    WitnessInput input;
    input.months = months;
    input.window = &window;
    return hear_witness(input);
  };
  const Witness both = heard(months_that_lose(5), window_of(Direction::fell, -9, -5));
  CHECK(both.verdict == WitnessVerdict::agrees_moving);
  const Witness neither = heard(months_that_lose(0), window_of(Direction::no_change_seen, -1, 1));
  CHECK(neither.verdict == WitnessVerdict::agrees_still);
  const Witness asleep = heard(months_that_lose(0), window_of(Direction::fell, -16, -12));
  CHECK(asleep.verdict == WitnessVerdict::contradicts);
  CHECK(asleep.reason.find("has not re-learned") != std::string::npos);
  const Witness moved = heard(months_that_lose(9), window_of(Direction::no_change_seen, -1, 1));
  CHECK(moved.verdict == WitnessVerdict::contradicts);
  CHECK(moved.reason.find("re-scaled") != std::string::npos);
  const Witness wide = heard(months_that_lose(0), window_of(Direction::no_change_seen, -6, 6));
  CHECK(wide.verdict == WitnessVerdict::too_little);
  CHECK(heard(months_that_lose(5, 5), window_of(Direction::fell, -9, -5)).verdict ==
        WitnessVerdict::too_little);
  WitnessInput alone;
  const auto months = months_that_lose(5);
  alone.months = months;
  CHECK(hear_witness(alone).verdict == WitnessVerdict::too_little);
}

TEST_CASE("witness: rest to rest and the voltage at rest can contradict") {
  const auto months = months_that_lose(5);
  const WindowSeries window = window_of(Direction::fell, -9, -5);
  WitnessInput input;
  input.months = months;
  input.window = &window;
  input.edges_ah = around(160, 1);
  input.rest_ah = around(158, 2);
  CHECK(hear_witness(input).verdict == WitnessVerdict::agrees_moving);
  input.rest_ah = around(140, 2);
  CHECK(hear_witness(input).verdict == WitnessVerdict::contradicts);
  input.rest_ah = around(140, 30);
  CHECK(hear_witness(input).verdict == WitnessVerdict::agrees_moving);
  RestDriftOrWhy drift;
  drift.drift = RestDrift{around(-0.6, 0.1), 10, 10, around(-4, 1)};
  input.drift = &drift;
  CHECK(hear_witness(input).verdict == WitnessVerdict::contradicts);
  drift.drift->points = around(-1, 0.3);
  CHECK(hear_witness(input).verdict == WitnessVerdict::agrees_moving);
  // Rests at one level confirm it, but nothing beside a contradiction.
  input.n_risen_at_rest = 3;
  input.rest_ah = around(158, 2);
  CHECK(hear_witness(input).level_agrees);
  drift.drift->points = around(-4, 1);
  CHECK(hear_witness(input).verdict == WitnessVerdict::contradicts);
  CHECK_FALSE(hear_witness(input).level_agrees);
}

TEST_CASE("fade: a controller that is right, two years of months, is not left in cannot tell") {
  // What it loses from the middle of the first three months to the last.
  struct Case {
    double lost_a_year;
    LineVerdict by_age;  // the line asks 2 % a year there
  };
  for (const Case& c : {Case{0.02, LineVerdict::on}, Case{0.055, LineVerdict::worse},
                        Case{-0.01, LineVerdict::better}}) {
    int right = 0, told = 0;
    constexpr int kRounds = 100;
    std::mt19937 random{31};  // seed 31
    for (int round = 0; round < kRounds; ++round) {
      const auto points = made_months(random, 24, c.lost_a_year, 0.004);
      FadeInput input;
      input.points = points;
      input.expectations = kLines;
      input.usable_ah = 155;
      input.witness = {WitnessVerdict::agrees_moving, "made so"};
      const auto rows = seen_rows(input);
      REQUIRE(rows.size() == 2);
      const FadeRow* row = row_of(rows, FadeAxis::age_years);
      REQUIRE(row);
      right += row->against_expectation == c.by_age;
      told += row->against_expectation != LineVerdict::cannot_tell;
      CHECK(row->reason.find("one van") != std::string::npos);
    }
    std::printf("fade, seed 31, %.1f %% a year against 2: told %d right %d of %d\n",
                100 * c.lost_a_year, told, right, kRounds);
    CHECK(told >= 90);
    CHECK(right >= 90);
  }
}

TEST_CASE("fade: the slope covers the truth, and is lost per unit of the axis") {
  std::mt19937 random{32};  // seed 32
  int inside = 0, level_inside = 0;
  constexpr int kRounds = 500;
  for (int round = 0; round < kRounds; ++round) {
    const auto points = made_months(random, 24, 0.03, 0.006);
    FadeInput input;
    input.points = points;
    const auto rows = seen_rows(input);
    const FadeRow* row = row_of(rows, FadeAxis::age_years);
    REQUIRE(row->slope_pct_per_unit.figure);
    const Figure& slope = *row->slope_pct_per_unit.figure;
    CHECK(slope.low < slope.value);
    CHECK(slope.high > slope.value);
    // Per cent of what the first three months held.
    const double truth = 3 / (1 - 0.03 / 12);
    inside += slope.low <= truth && slope.high >= truth;
    REQUIRE(row->measured_pct.figure);
    CHECK(row->since_first_logged);
    const double lost = truth * 22 / 12;
    level_inside += row->measured_pct.figure->low <= lost && row->measured_pct.figure->high >= lost;
    const FadeRow* by_km = row_of(rows, FadeAxis::odometer_km);
    CHECK(by_km->slope_pct_per_unit.figure->value ==
          doctest::Approx(slope.value / 30'000).epsilon(1e-6));
    REQUIRE(row->smallest_detectable_pct_per_year);
    CHECK(*row->smallest_detectable_pct_per_year < 1.5);
    CHECK(*row->smallest_detectable_pct_per_year > 0.2);
  }
  std::printf("fade, seed 32: slope covers %.3f, loss %.3f\n", double(inside) / kRounds,
              double(level_inside) / kRounds);
  CHECK(double(inside) / kRounds > 0.93);
  CHECK(double(level_inside) / kRounds > 0.93);
}

TEST_CASE("fade: without a witness there is no verdict, but the reason and the cure") {
  std::mt19937 random{33};  // seed 33
  const auto points = made_months(random, 24, 0.055, 0.004);
  for (const WitnessVerdict verdict : {WitnessVerdict::contradicts, WitnessVerdict::too_little}) {
    FadeInput input;
    input.points = points;
    input.expectations = kLines;
    input.usable_ah = 160;
    input.witness = {verdict, "the controller has not re-learned"};
    for (const FadeRow& row : seen_rows(input)) {
      CHECK(row.against_expectation == LineVerdict::cannot_tell);
      CHECK(row.reason.find("not re-learned") != std::string::npos);
      CHECK(row.reason.find("meter") != std::string::npos);
      CHECK(row.reason.find("licensed") != std::string::npos);
    }
  }
}

// Believes 160 Ah for ever: its scale says that nothing was lost since new.
TEST_CASE("fade: a level that nothing confirms is never called better") {
  std::vector<FadePoint> points;
  for (int m = 0; m < 24; ++m) {
    FadePoint p;
    p.month = kJanuary2026 + m;
    p.ah = 160 + 0.1 * (m * 7 % 5 - 2);
    p.u_random_ah = 0.2;
    p.odometer_km = 200'000 + 2'500 * m;
    points.push_back(p);
  }
  FadeInput input;
  input.points = points;
  input.expectations = kLines;
  input.usable_ah = 160;
  input.witness = {WitnessVerdict::contradicts, "the controller has not re-learned"};
  auto rows = seen_rows(input);
  REQUIRE(rows.size() == 1);
  CHECK(rows[0].against_expectation == LineVerdict::cannot_tell);
  // Nothing moved on either side: it may say so since first logged, no more.
  input.witness = {WitnessVerdict::agrees_still, "made so"};
  rows = seen_rows(input);
  CHECK(rows[0].since_first_logged);
  CHECK(rows[0].measured_pct.figure->high < 1);
}

// New it held 150 Ah, when the logging began a fifth was gone, as the line says, and in
// two years another tenth of the new pack goes, as the line says: 12.5 % of what the
// first months held, by hand.
TEST_CASE("fade: lost and expected are per cent of one and the same baseline") {
  std::vector<FadePoint> points;
  for (int m = 0; m < 25; ++m) {
    FadePoint p;
    p.month = kJanuary2026 + m;
    p.ah = 120 - 15 * (m - 1) / 23.0 + 0.01 * (m * 7 % 5 - 2);
    p.u_random_ah = 0.05;
    p.odometer_km = 100'000 + 50'000 * (m - 1) / 23.0;
    points.push_back(p);
  }
  const std::vector<LossLine> lines{{FadeAxis::odometer_km, {{100'000, 20}, {160'000, 32}}}};
  FadeInput input;
  input.points = points;
  input.expectations = lines;
  input.usable_ah = 150;
  input.witness = {WitnessVerdict::agrees_moving, "made so"};
  const auto rows = seen_rows(input);
  REQUIRE(rows.size() == 1);
  const FadeRow& row = rows[0];
  CHECK(row.since_first_logged);
  CHECK(row.measured_pct.figure->value == doctest::Approx(12.5).scale(0).epsilon(0.1));
  REQUIRE(row.expected_pct);
  CHECK(*row.expected_pct == doctest::Approx(12.5).scale(0).epsilon(0.05));
  CHECK(row.against_expectation == LineVerdict::on);
  CHECK(row.reason.find("100 % is what the first three months") != std::string::npos);
  // A line that takes 7.5 points of the new pack is left behind by more than 2 points.
  const std::vector<LossLine> slower{{FadeAxis::odometer_km, {{100'000, 20}, {160'000, 29}}}};
  input.expectations = slower;
  CHECK(*seen_rows(input)[0].expected_pct == doctest::Approx(9.4).scale(0).epsilon(0.1));
  CHECK(seen_rows(input)[0].against_expectation == LineVerdict::worse);
  // Nothing is left to lose.
  const std::vector<LossLine> all{{FadeAxis::odometer_km, {{90'000, 100}, {160'000, 100}}}};
  input.expectations = all;
  CHECK_FALSE(seen_rows(input)[0].expected_pct);
}

// Three months, a long pause, three months: the mean of the last three stands where
// they stand, and not at the end of the record.
TEST_CASE("fade: since new the latest months stand where their mean stands") {
  std::vector<FadePoint> points;
  for (const int m : {0, 1, 2, 3, 30}) {
    FadePoint p;
    p.month = kJanuary2026 + m;
    p.ah = 150 - 0.5 * m;
    p.u_random_ah = 0.1;
    p.age_years = m / 12.0;
    points.push_back(p);
  }
  const std::vector<LossLine> lines{{FadeAxis::age_years, {{10, 40}}}};  // 4 % a year
  FadeInput input;
  input.points = points;
  input.expectations = lines;
  input.usable_ah = 150;
  const auto rows = seen_rows(input);
  REQUIRE(rows.size() == 1);
  CHECK_FALSE(rows[0].since_first_logged);
  // (2 + 3 + 30) / 3 months: 3.9 %, and half an Ah a month is 4 % a year of 150.
  CHECK(rows[0].measured_pct.figure->value == doctest::Approx(3.889).scale(0).epsilon(0.01));
  REQUIRE(rows[0].expected_pct);
  CHECK(*rows[0].expected_pct == doctest::Approx(3.889).scale(0).epsilon(0.01));
  CHECK(rows[0].reason.find("150 Ah") != std::string::npos);
}

// A table of ages lowers a wrong figure as the cells fall: the change is confirmed, the
// level is not.
TEST_CASE("fade: cells that move with the controller confirm no level since new") {
  std::mt19937 random{37};  // seed 37
  const auto points = made_months(random, 7, 0.03, 0.002);
  const std::vector<LossLine> lines{{FadeAxis::age_years, {{10, 300}}}};
  FadeInput input;
  input.points = points;
  input.expectations = lines;
  input.usable_ah = 150;
  input.witness = {WitnessVerdict::agrees_moving, "made so"};
  const FadeRow alone = *row_of(seen_rows(input), FadeAxis::age_years);
  CHECK(alone.against_expectation == LineVerdict::cannot_tell);
  CHECK(alone.findings == std::vector{Finding::scale_not_confirmed});
  CHECK(alone.reason.find("read at a meter") != std::string::npos);
  input.witness.level_agrees = true;
  const auto rested = seen_rows(input);
  CHECK(row_of(rested, FadeAxis::age_years)->against_expectation == LineVerdict::better);
  CHECK(row_of(rested, FadeAxis::age_years)->findings.empty());
}

// Charges of unlike power have no window in common, or cells that moved too little to
// be seen: rests that tell the same scale confirm it all the same.
TEST_CASE("fade: rests confirm where charges are too unlike each other to be heard") {
  std::mt19937 random{38};  // seed 38
  const auto points = made_months(random, 24, 0.02, 0.003);
  FadeInput input;
  input.points = points;
  input.expectations = kLines;
  const auto told = [&](Witness witness) {
    input.witness = std::move(witness);
    return *row_of(seen_rows(input), FadeAxis::age_years);
  };
  Witness unheard{WitnessVerdict::too_little, "no three like charges"};
  CHECK(told(unheard).against_expectation == LineVerdict::cannot_tell);
  CHECK(told(unheard).findings == std::vector{Finding::scale_not_confirmed});
  unheard.level_agrees = true;
  CHECK(told(unheard).against_expectation == LineVerdict::on);
  CHECK(told(unheard).findings.empty());
  Witness still{WitnessVerdict::agrees_still, "made so", ChangeRange{-9, 4}};
  CHECK(told(still).against_expectation == LineVerdict::cannot_tell);
  still.level_agrees = true;
  CHECK(told(still).against_expectation == LineVerdict::on);
}

TEST_CASE("fade: below twelve months no slope, but what could be seen and the level") {
  std::mt19937 random{34};  // seed 34
  const auto points = made_months(random, 7, 0.03, 0.005);
  FadeInput input;
  input.points = points;
  input.expectations = kLines;
  input.witness = {WitnessVerdict::agrees_moving, "made so"};
  auto rows = seen_rows(input);
  REQUIRE(rows.size() == 2);
  for (const FadeRow& row : rows) {
    CHECK_FALSE(row.slope_pct_per_unit.figure);
    CHECK(row.slope_pct_per_unit.why.find("12 months") != std::string::npos);
    REQUIRE(row.smallest_detectable_pct_per_year);
    CHECK(*row.smallest_detectable_pct_per_year > 1);
    CHECK_FALSE(row.measured_pct.figure);
    CHECK(row.n_months == 7);
  }
  input.usable_ah = 160;
  rows = seen_rows(input);
  for (const FadeRow& row : rows) {
    REQUIRE(row.measured_pct.figure);
    CHECK_FALSE(row.since_first_logged);
    // 149 of 160 by hand, and 5 % of the owner's figure, 1 sd.
    CHECK(row.measured_pct.figure->value == doctest::Approx(7).epsilon(0.2));
    CHECK(row.measured_pct.figure->high - row.measured_pct.figure->value > 9);
  }
  const auto nothing = build_fade_rows({});
  REQUIRE(nothing.size() == 3);
  for (const FadeRow& row : nothing) CHECK(row.reason.find("five charges") != std::string::npos);
}

TEST_CASE("fade: what could not be seen is said, and that a year is weak") {
  std::mt19937 random{36};  // seed 36
  const auto points = made_months(random, 13, 0.03, 0.02);
  FadeInput input;
  input.points = points;
  input.expectations = kLines;
  input.witness = {WitnessVerdict::agrees_moving, "made so"};
  const auto rows = seen_rows(input);
  REQUIRE(rows.size() == 2);
  CHECK(rows[0].weak);
  CHECK(rows[0].reason.find("weak") != std::string::npos);
  CHECK(rows[0].against_expectation == LineVerdict::cannot_tell);
  CHECK(rows[0].reason.find("could not be seen") != std::string::npos);
  CHECK(rows[0].reason.find("more months") != std::string::npos);
}

// Measured cells: every seventh discharge as a month. The loss of the mean of the
// last three against the first three must lie inside, and the recoveries after
// rests must not turn the slope.
TEST_CASE("fade: two measured cells over their life") {
  if (!data_is_there()) {
    MESSAGE("no measured data beside the project: skipped");
    return;
  }
  std::map<std::string, std::vector<double>> cell_ah;
  std::ifstream in(data_folder() + "/fade-cells.csv");
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    const auto last = line.rfind(',');
    cell_ah[line.substr(0, line.find(','))].push_back(std::stod(line.substr(last + 1)));
  }
  REQUIRE(cell_ah.size() == 2);
  for (const auto& [cell, ah] : cell_ah) {
    CAPTURE(cell);
    std::vector<FadePoint> points;
    std::vector<double> picked;
    for (std::size_t i = 0; i < ah.size(); i += 7) {
      FadePoint p;
      p.month = kJanuary2026 + static_cast<int>(points.size());
      p.ah = ah[i];
      p.full_cycles = double(i);
      points.push_back(p);
      picked.push_back(ah[i]);
    }
    REQUIRE(points.size() == 24);
    FadeInput input;
    input.points = points;
    const auto rows = seen_rows(input);
    REQUIRE(rows.size() == 1);
    REQUIRE(rows[0].measured_pct.figure);
    const Figure& lost = *rows[0].measured_pct.figure;
    const Figure& slope = *rows[0].slope_pct_per_unit.figure;
    const double truth =
        100 * (1 - (picked[21] + picked[22] + picked[23]) / (picked[0] + picked[1] + picked[2]));
    std::printf(
        "%s: lost %.1f (%.1f..%.1f) %%, measured %.1f %%; %.4f (%.4f..%.4f) %% a discharge\n",
        cell.c_str(), lost.value, lost.low, lost.high, truth, slope.value, slope.low, slope.high);
    REQUIRE(rows[0].kendall);
    CHECK(rows[0].kendall->tau < -0.8);
    CHECK(rows[0].kendall->probability < 1e-6);
    CHECK(lost.low < truth);
    CHECK(lost.high > truth);
    // scipy 1.10.1 over all 168 discharges, of the line's own start: -0.003836
    // and -0.003228 Ah of 1.877 and 1.886 Ah.
    CHECK(slope.value == doctest::Approx(cell == "B0005" ? 0.2043 : 0.1712).epsilon(0.06));
  }
}

TEST_CASE("fade: when four fifths are left, with its bounds, or not yet") {
  std::mt19937 random{35};  // seed 35
  const auto points = made_months(random, 36, 0.04, 0.004);
  const auto crossing = years_to_share(points, 0.8);
  REQUIRE(crossing);
  CHECK(crossing->at == doctest::Approx(5).epsilon(0.1));
  REQUIRE(crossing->low);
  CHECK(*crossing->low < crossing->at);
  CHECK(*crossing->high > crossing->at);
  CHECK_FALSE(years_to_share(std::span(points).first(6), 0.8));
  const auto flat = made_months(random, 24, 0, 0.01);
  const auto never = years_to_share(flat, 0.8);
  CHECK((!never || !never->low || never->beyond));
}

}  // namespace packmile::testing
