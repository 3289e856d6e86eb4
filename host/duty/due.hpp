// How much a van is used a day, and when what is left will be used up.
//
// Input     what was used on each calendar day, idle ones among them, or a few
//           readings of a counter.
// Output    days from the last one that is known.
// Method    a van uses m a day with scatter sd from day to day: after T days it
//           has used m T, with variance (se T)^2 + sd^2 T (renewal theory). The
//           95 % interval is where what is left lies inside that.
// Refuses   fewer than 14 days.
#pragma once
#include <chrono>
#include <optional>
#include <span>
#include <string>

#include "figure.hpp"

namespace packmile {

// A calendar day of the depot's zone.
using LocalDay = std::chrono::local_days;

// As analytic practice has it: two weeks show a weekday pattern once repeated
// (common practice, no source).
inline constexpr int kLeastUseDays = 14;
// The rate follows the last four weeks: a van's round changes with the season.
inline constexpr int kRateDays = 28;
// From eight weeks on the scatter is told from whole weeks, which weekdays do not
// widen.
inline constexpr int kWeeklyFromDays = 56;

struct UseRate {
  double per_day = 0;    // of whatever is counted; >= 0
  double u_per_day = 0;  // 1 sd of per_day
  double sd_day = 0;     // scatter of one day, 1 sd
  double factor_95 = 0;  // what the two are multiplied by: Student's
  int days = 0;          // that per_day is the mean of
  std::string basis;     // "28 days to 2026-05-03", ..
};

struct UseRateOrWhy {
  std::optional<UseRate> rate;
  std::string why;  // there is none, and how to get one
};

// per_day: one value for each calendar day, the oldest first; the last one is of
// `last`.
[[nodiscard]] UseRateOrWhy use_rate_of_days(std::span<const double> per_day, LocalDay last);

struct CounterReading {
  LocalDay day;
  double value = 0;
  double step = 0;  // what the last digit is worth
};
// readings: in order of days. Of those of one day the largest counts. With fewer
// than five of them nothing is known of single days: a day's scatter is then taken
// to be a day's mean (common practice, no source; a five-day week alone makes
// 0.63 of it).
[[nodiscard]] UseRateOrWhy use_rate_of_readings(std::span<const CounterReading> readings);

// What is left, and how far that may be wrong on either side, 1 sd.
struct Left {
  double amount = 0;
  double u_low = 0;
  double u_high = 0;
};
// What a van of this rate uses in so many days, 95 %; none of it below 0.
[[nodiscard]] Figure used_in(const UseRate& rate, double days);
// Days from now. earliest and likely are 0 where nothing is left.
struct DaysUntil {
  double likely = 0;
  double earliest = 0;           // 95 %, as latest
  std::optional<double> latest;  // absent: the rate may be 0
};
// nullopt: nothing is used, so it is never due.
[[nodiscard]] std::optional<DaysUntil> days_until(const Left& left, const UseRate& rate);

// Three dates; latest absent as above.
struct DueDates {
  LocalDay likely;
  LocalDay earliest;
  std::optional<LocalDay> latest;
};
// from: the day on which so much was left. earliest is cut down to whole days, latest
// up. nullopt: further than anybody plans, 100 years.
[[nodiscard]] std::optional<DueDates> due_from(LocalDay from, const DaysUntil& days);

// So many months later; of a month that is too short its last day.
[[nodiscard]] LocalDay months_later(LocalDay day, int months);
// Years between, by the mean Gregorian year.
[[nodiscard]] double years_between(LocalDay from, LocalDay to);

// "2026-05-03"
[[nodiscard]] std::string text_of(LocalDay day);

// Distance in years of average use. Great Britain: vans, "around 13,000 miles" a
// year, stable over 25 years (Department for Transport, van statistics 2019-20; its
// own totals make 55.5e9 miles / 4.1e6 vans = 13,537). A mean of unlike vans: no
// interval of its own is claimed.
inline constexpr double kAverageMilesPerYear = 13'000;
inline constexpr char kAverageMilesSource[] =
    "13,000 miles a year: the average van of Great Britain, Department for Transport 2019-20";
[[nodiscard]] double equivalent_years(double km, double miles_per_year = kAverageMilesPerYear);

}  // namespace packmile
