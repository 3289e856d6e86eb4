#include "duty/due.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "figure.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

constexpr int kWeekDays = 7;
constexpr double kDaysPerYear = 365.2425;  // Gregorian calendar
constexpr double kMostDaysAhead = 100 * kDaysPerYear;
// A half-width of a step is uniform: 1 sd of the difference of two readings.
const double kStepDifferenceU = std::sqrt(2.0 / 12.0);
constexpr std::size_t kLeastReadingsForScatter = 5;
// How far back single readings tell of the scatter: half a year.
constexpr int kScatterDays = 182;

double mean_of(std::span<const double> values) {
  double sum = 0;
  for (const double value : values) sum += value;
  return sum / static_cast<double>(values.size());
}

// With the mean known to be `mean`.
double sd_of(std::span<const double> values, double mean) {
  double sum = 0;
  for (const double value : values) sum += (value - mean) * (value - mean);
  return std::sqrt(sum / static_cast<double>(values.size() - 1));
}

// The moment at which `left` is reached when everything goes `way` (+1: fast, -1:
// slow): the root of left - m T = way z sqrt(se^2 T^2 + sd^2 T + u^2).
std::optional<double> border(double left, double u_left, const UseRate& rate, double way) {
  const double z2 = rate.factor_95 * rate.factor_95;
  const double m = rate.per_day;
  const double a = m * m - z2 * rate.u_per_day * rate.u_per_day;
  const double b = -2 * left * m - z2 * rate.sd_day * rate.sd_day;
  const double c = left * left - kZ95 * kZ95 * u_left * u_left;
  if (c <= 0 && way > 0) return 0;  // it may be used up already
  if (!(a > 0)) {
    // The rate may be 0: only the fast border exists, the positive root.
    if (way < 0) return std::nullopt;
    if (a == 0) return -c / b;
  }
  const double root = std::sqrt(std::max(0.0, b * b - 4 * a * c));
  // Stable for both: q has the sign of -b, which is positive.
  const double q = (-b + root) / 2;
  const double slow = q / a, fast = c / q;
  return way > 0 ? fast : slow;
}

}  // namespace

UseRateOrWhy use_rate_of_days(std::span<const double> per_day, LocalDay last) {
  const int known = static_cast<int>(per_day.size());
  if (known < kLeastUseDays)
    return {std::nullopt,
            fmt::format("too early to tell: {} {} on record, {} are needed; import the next card",
                        known, known == 1 ? "day" : "days", kLeastUseDays)};
  UseRate out;
  out.days = std::min(known, kRateDays) / kWeekDays * kWeekDays;
  const auto window = per_day.last(static_cast<std::size_t>(out.days));
  out.per_day = mean_of(window);
  if (known >= kWeeklyFromDays) {
    std::vector<double> weeks;
    const auto of_weeks = per_day.last(kWeeklyFromDays);
    for (int week = 0; week < kWeeklyFromDays / kWeekDays; ++week)
      weeks.push_back(kWeekDays * mean_of(of_weeks.subspan(
                                      static_cast<std::size_t>(week * kWeekDays), kWeekDays)));
    const double sd_week = sd_of(weeks, mean_of(weeks));
    out.sd_day = sd_week / std::sqrt(double{kWeekDays});
    out.factor_95 = student_t_95(static_cast<double>(weeks.size() - 1));
  } else {
    out.sd_day = sd_of(window, out.per_day);
    out.factor_95 = student_t_95(out.days - 1);
  }
  out.u_per_day = out.sd_day / std::sqrt(static_cast<double>(out.days));
  out.basis = fmt::format("{} days to {}", out.days, text_of(last));
  return {out, {}};
}

UseRateOrWhy use_rate_of_readings(std::span<const CounterReading> readings) {
  std::vector<CounterReading> days;
  for (const CounterReading& reading : readings) {
    if (!days.empty() && days.back().day == reading.day) {
      if (reading.value > days.back().value) days.back() = reading;
    } else {
      days.push_back(reading);
    }
  }
  const auto length = [](const CounterReading& from, const CounterReading& to) {
    return static_cast<int>((to.day - from.day).count());
  };
  if (days.size() < 2)
    return {std::nullopt, days.empty() ? "no reading was noted yet; note the odometer"
                                       : "one reading tells no use; note the next one in two "
                                         "weeks or more"};
  // The newest stretch of four weeks or more, else all there is.
  std::size_t first = days.size() - 1;
  while (first > 0 && length(days[first], days.back()) < kRateDays) --first;
  UseRate out;
  out.days = length(days[first], days.back());
  if (out.days < kLeastUseDays)
    return {std::nullopt,
            fmt::format("too early to tell: readings span {} {}, {} are needed; note the odometer "
                        "again after {}",
                        out.days, out.days == 1 ? "day" : "days", kLeastUseDays,
                        text_of(days[first].day + std::chrono::days{kLeastUseDays}))};
  const double used = days.back().value - days[first].value;
  if (used < 0)
    return {std::nullopt,
            fmt::format("the reading of {} is lower than that of {}; correct the wrong one",
                        text_of(days.back().day), text_of(days[first].day))};
  out.per_day = used / out.days;
  std::size_t scatter_from = days.size() - 1;
  while (scatter_from > 0 && length(days[scatter_from - 1], days.back()) <= kScatterDays)
    --scatter_from;
  const std::size_t n = days.size() - scatter_from;
  if (n >= kLeastReadingsForScatter) {
    const auto& begin = days[scatter_from];
    const double mean = (days.back().value - begin.value) / length(begin, days.back());
    double sum = 0;
    for (std::size_t k = scatter_from + 1; k < days.size(); ++k) {
      const int length_days = length(days[k - 1], days[k]);
      const double off = days[k].value - days[k - 1].value - mean * length_days;
      sum += off * off / length_days;
    }
    const auto degrees = static_cast<double>(n - 2);
    out.sd_day = std::sqrt(sum / degrees);
    out.factor_95 = student_t_95(degrees);
  } else {
    out.sd_day = out.per_day;
    out.factor_95 = kZ95;
  }
  const double step = std::max(days.back().step, days[first].step);
  out.u_per_day = std::hypot(out.sd_day / std::sqrt(static_cast<double>(out.days)),
                             step * kStepDifferenceU / out.days);
  out.basis =
      fmt::format("readings of {} and {}", text_of(days[first].day), text_of(days.back().day));
  return {out, {}};
}

Figure used_in(const UseRate& rate, double days) {
  const double value = rate.per_day * days;
  const double half = rate.factor_95 * std::hypot(rate.u_per_day * days,
                                                  rate.sd_day * std::sqrt(std::max(0.0, days)));
  return {value, std::max(0.0, value - half), value + half, half};
}

std::optional<DaysUntil> days_until(const Left& left, const UseRate& rate) {
  DaysUntil out;
  if (left.amount <= 0) {
    // It is used up, unless what is left is so unsure that some may be.
    const bool some_may_be = -left.amount < kZ95 * left.u_high;
    if (!some_may_be)
      out.latest = 0;
    else if (rate.per_day > 0)
      out.latest = border(left.amount, left.u_high, rate, -1);
    return out;
  }
  if (!(rate.per_day > 0)) return std::nullopt;
  out.likely = left.amount / rate.per_day;
  out.earliest = border(left.amount, left.u_low, rate, 1).value_or(0);
  out.latest = border(left.amount, left.u_high, rate, -1);
  return out;
}

std::optional<DueDates> due_from(LocalDay from, const DaysUntil& days) {
  if (!(days.likely <= kMostDaysAhead)) return std::nullopt;
  const auto later = [from](double count) { return from + std::chrono::days{std::lround(count)}; };
  DueDates out;
  out.likely = later(days.likely);
  out.earliest = later(std::floor(days.earliest));
  if (days.latest && *days.latest <= kMostDaysAhead) out.latest = later(std::ceil(*days.latest));
  return out;
}

LocalDay months_later(LocalDay day, int months) {
  const std::chrono::year_month_day from{day};
  const auto month = from.year() / from.month() + std::chrono::months{months};
  const std::chrono::year_month_day to = month / from.day();
  return to.ok() ? LocalDay{to} : LocalDay{month / std::chrono::last};
}

double years_between(LocalDay from, LocalDay to) {
  return static_cast<double>((to - from).count()) / kDaysPerYear;
}

std::string text_of(LocalDay day) {
  const std::chrono::year_month_day date{day};
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

double equivalent_years(double km, double miles_per_year) {
  return km / kKmPerMile / miles_per_year;
}

}  // namespace packmile
