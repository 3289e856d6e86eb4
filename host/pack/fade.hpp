// How fast the capacity falls, against distance, age and use, and whether that is
// what the owner expected.
//
// Input     one capacity a month by one method, of like temperature.
// Output    one row per axis, with a slope or why there is none.
// Method    trend.hpp. Since the first three logged months where there is a
//           slope (what the sensor gets wrong by a factor cancels); else the
//           latest months against the owner's usable capacity.
// Baseline  what is 100 % for lost and expected alike: the first three months (then
//           the owner's line is taken as the share of what it leaves there), or the
//           new pack. The row and its reason say which.
// Refuses   a slope below 12 months or two like seasons; a verdict where nothing
//           independent confirms the controller; to say which of age and use it
//           was, for one van always.
// Assumes   a straight line. Packs often fade fast at first, then slower, and may
//           fall off late: a line says nothing about that.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "figure.hpp"
#include "finding.hpp"
#include "pack/expectation.hpp"
#include "pack/robust.hpp"
#include "pack/trend.hpp"
#include "pack/witness.hpp"

namespace packmile {

// To be printed beside every date that a line reaches a limit.
inline constexpr std::string_view kLineCaution =
    "this takes the fade for a straight line; packs often fade fast at first, then slower, and may "
    "fall off late";

// The first months of a line, which the rest is compared with.
inline constexpr std::size_t kReferenceMonths = 3;

struct FadePoint {
  int month = 0;  // trend.hpp
  double ah = 0;
  double u_random_ah = 0;  // 1 sd
  double u_gain_ah = 0;    // 1 sd, the same factor in every month: gain and scale
  double u_offset_ah = 0;  // 1 sd, what an unknown offset can do; it may drift
  std::optional<double> odometer_km, age_years, full_cycles;
};

struct FadeRow {
  FadeAxis against = FadeAxis::odometer_km;
  MaybeFigure slope_pct_per_unit;  // lost per km, year or cycle; fade is positive
  std::size_t n_months = 0;
  bool weak = false;
  std::optional<Kendall> kendall;  // of the capacity: negative where it falls
  // Of this van's own scatter; absent below 3 months.
  std::optional<double> smallest_detectable_pct_per_year;
  std::string smallest_detectable_why;
  std::optional<double> expected_pct;  // lost by the owner's line, same baseline
  std::string expected_why;
  MaybeFigure measured_pct;                    // lost
  bool since_first_logged = false;             // both of them, instead of since new
  std::optional<int> first_month, last_month;  // trend.hpp
  WitnessVerdict witness = WitnessVerdict::too_little;
  LineVerdict against_expectation = LineVerdict::cannot_tell;
  std::string reason;
  std::vector<Finding> findings;
};

struct FadeInput {
  std::span<const FadePoint> points;
  std::optional<double> usable_ah;  // the owner's figure of the new pack
  // Age and cycles count from the first logged month: the van's own beginning is
  // not known, and an expectation against them says nothing.
  bool age_since_logged = false;
  bool cycles_since_logged = false;
  std::span<const LossLine> expectations;
  Witness witness;
};
// One row per axis, also where nothing can be told.
[[nodiscard]] std::vector<FadeRow> build_fade_rows(const FadeInput& input);

// When the line reaches a share of the first three months; nullopt: never, or no
// slope. For the months' own axis of time, years after `first`.
[[nodiscard]] std::optional<Crossing> years_to_share(std::span<const FadePoint> points,
                                                     double share);

}  // namespace packmile
