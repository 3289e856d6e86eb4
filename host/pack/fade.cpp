#include "pack/fade.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "pack/student_t.hpp"

namespace packmile {
namespace {

// The owner's figure of the new pack, 1 sd, relative: a data sheet's nominal is not
// always what is usable. A judgment.
constexpr double kUsableU = 0.05;
// How far the unknown part of an offset may have drifted over the months, 1 sd,
// as a share of it: sensors keep most of their offset. A judgment.
constexpr double kOffsetDriftShare = 0.3;
constexpr double kMostMonthsAhead = 240;
constexpr int kMonthsOfYear = 12;
constexpr std::string_view kCure =
    "log on: a slope needs 12 months, or three calendar months in each of two years";
constexpr std::string_view kOneVan = "which of age and use it was cannot be told from one van";

std::optional<double> place_of(const FadePoint& point, FadeAxis axis) {
  switch (axis) {
    case FadeAxis::odometer_km:
      return point.odometer_km;
    case FadeAxis::age_years:
      return point.age_years;
    case FadeAxis::full_cycles:
      return point.full_cycles;
  }
  return std::nullopt;
}

std::vector<MonthValue> values_of(std::span<const FadePoint> points) {
  std::vector<MonthValue> values;
  for (const FadePoint& p : points) {
    values.push_back({p.month, static_cast<double>(p.month), p.ah, p.u_random_ah});
  }
  return values;
}

std::string number(double value, int digits) {
  char text[48];
  std::snprintf(text, sizeof text, "%.*f", digits, value);
  return text;
}

std::string why_no_place(FadeAxis axis) {
  switch (axis) {
    case FadeAxis::odometer_km:
      return "the van did not answer its odometer when it charged";
    case FadeAxis::age_years:
      return "first_used in fleet.toml lies after the months";
    case FadeAxis::full_cycles:
      return "nominal_ah is not in fleet.toml for this van, or nothing was seen flowing out";
  }
  return {};
}

// What a year of months like these would show, where the months at hand are too
// few to show any fade.
std::string detectable_in_a_year(const std::vector<FadePoint>& points) {
  std::string text = "fewer than three monthly values: a fade of no size could be seen";
  double sd = 0, ah = 0;
  for (const FadePoint& p : points) {
    sd = std::max(sd, p.u_random_ah);
    ah += p.ah / static_cast<double>(points.size());
  }
  std::vector<double> year;
  for (int month = 0; month < kMonthsOfYear; ++month) year.push_back(month);
  if (const auto slope = smallest_detectable_slope(year, sd); slope && sd > 0 && ah > 0) {
    text += "; 12 months as sure as these would show " +
            number(kMonthsOfYear * 100 * *slope / ah, 1) + " points a year";
  }
  return text;
}

// "about n more months", from how the width shrinks with their number.
std::string what_would_settle(const Figure& lost, double expected, std::size_t n_months) {
  const double half = (lost.high - lost.low) / 2;
  const double away = std::abs(lost.value - expected);
  const double needed = std::max(kExpectationBandPct - away, away);
  if (!(half > 0) || !(needed > 0)) return {};
  const auto n = static_cast<double>(n_months);
  const double more = n * (half / needed) * (half / needed) - n;
  if (more > kMostMonthsAhead) return "more months at this scatter will not settle it";
  return "about " + std::to_string(static_cast<int>(std::ceil(std::max(more, 1.0)))) +
         " more months at this scatter would settle it";
}

struct Lost {
  Figure pct;
  double expected_from = 0;  // axis: the line counts from here
  double at = 0;             // axis: now
};

// Since the first three logged months, along the slope.
Lost lost_since_logged(const std::vector<FadePoint>& points, const std::vector<double>& places,
                       const Trend& trend) {
  Lost lost;
  const std::size_t n_reference = std::min(kReferenceMonths, places.size());
  for (std::size_t i = 0; i < n_reference; ++i) {
    lost.expected_from += places[i] / static_cast<double>(n_reference);
  }
  lost.at = places.back();
  const double reference_ah = trend.at(lost.expected_from);
  const double span = lost.at - lost.expected_from;
  const double to_pct = 100 * span / reference_ah;
  const double offset_pct =
      100 * kOffsetDriftShare * std::sqrt(2.0) * points.back().u_offset_ah / reference_ah;
  const double value = -trend.slope * to_pct;
  const double below = value + trend.high * to_pct;
  const double above = -trend.low * to_pct - value;
  lost.pct = {value, value - std::hypot(below, kZ95 * offset_pct),
              value + std::hypot(above, kZ95 * offset_pct), (below + above) / 2};
  return lost;
}

// The latest months against the owner's figure of the new pack.
Lost lost_since_new(const std::vector<FadePoint>& points, const std::vector<double>& places,
                    double usable_ah) {
  Lost lost;
  double ah = 0, variance = 0;
  const std::size_t n = std::min(kReferenceMonths, points.size());
  const auto share = 1 / static_cast<double>(n);
  for (std::size_t i = points.size() - n; i < points.size(); ++i) {
    // Where the mean of these months stands: between them there may be a long gap.
    lost.at += share * places[i];
    ah += share * points[i].ah;
    variance += share * share * points[i].u_random_ah * points[i].u_random_ah;
  }
  const double pct = 100 / usable_ah;
  const double u_systematic =
      std::hypot(points.back().u_gain_ah, points.back().u_offset_ah, kUsableU * ah);
  lost.pct = figure_of(100 - ah * pct, std::sqrt(variance) * pct, u_systematic * pct);
  return lost;
}

// What is 100 %.
std::string baseline_text(const FadeRow& row, const FadeInput& input) {
  if (row.since_first_logged)
    return "since first logged (100 % is what the first three months with a value told)";
  return "since new (100 % is nominal_ah of fleet.toml, " + number(*input.usable_ah, 0) + " Ah)";
}

void judge(FadeRow& row, const Lost& lost, const LossLine* line, const FadeInput& input) {
  if (line == nullptr) {
    row.reason = row.expected_why =
        "fleet.toml holds no expectation against " + std::string(word_of(row.against));
    return;
  }
  const auto now = line->lost_pct_at(lost.at);
  const auto then =
      row.since_first_logged ? line->lost_pct_at(lost.expected_from) : std::optional<double>{0.0};
  if (!now || !then) {
    row.reason = row.expected_why = "the expectation says nothing there";
    return;
  }
  if (!(*then < 100)) {
    row.reason = row.expected_why = "by the expectation nothing was left in the first months";
    return;
  }
  // Of what the line leaves at the baseline: the measured loss is per cent of that, too.
  row.expected_pct = 100 * (*now - *then) / (100 - *then);
  const Witness& witness = input.witness;
  // Of no change the witness is only as sure as it is itself.
  const bool still = witness.verdict == WitnessVerdict::agrees_still;
  Figure sure = lost.pct;
  if (still && witness.cells_pct && !witness.level_agrees) {
    sure.low = std::min(sure.low, -witness.cells_pct->high);
    sure.high = std::max(sure.high, -witness.cells_pct->low);
  }
  const LineVerdict said = judge_against_line(sure, *row.expected_pct);
  // One that lowers a wrong figure by a table of ages moves with the cells, too.
  const bool confirmed =
      witness.level_agrees ||
      (row.since_first_logged && (witness.verdict == WitnessVerdict::agrees_moving || still));
  std::string by = baseline_text(row, input) + " it lost " + number(lost.pct.value, 1) + " (" +
                   number(lost.pct.low, 1) + " to " + number(lost.pct.high, 1) + ") %, expected " +
                   number(*row.expected_pct, 1) + " %";
  if (still && witness.cells_pct && !witness.level_agrees) {
    by += ", the cells themselves " + number(-witness.cells_pct->high, 1) + " to " +
          number(-witness.cells_pct->low, 1) + " %";
  }
  if (!confirmed) {
    row.reason = by + " by the controller's own scale, which nothing independent confirms: " +
                 witness.reason + "; " + std::string(kHowToSettle);
    return;
  }
  row.against_expectation = said;
  row.reason = by;
  if (!witness.level_agrees) {
    row.reason +=
        "; that is the change: whether the cells hold what the controller says, nothing "
        "independent confirms; " +
        std::string(kHowToSettle);
  }
  if (said == LineVerdict::cannot_tell) {
    const std::string settle = what_would_settle(sure, *row.expected_pct, row.n_months);
    if (!settle.empty()) row.reason += "; " + settle;
    if (row.smallest_detectable_pct_per_year) {
      row.reason += "; less than " + number(*row.smallest_detectable_pct_per_year, 1) +
                    " points a year could not be seen in these months";
    }
  }
}

}  // namespace

std::vector<FadeRow> build_fade_rows(const FadeInput& input) {
  std::vector<FadeRow> rows;
  const TrendOrWhy in_time = fit_trend(values_of(input.points));
  for (const FadeAxis axis : {FadeAxis::odometer_km, FadeAxis::age_years, FadeAxis::full_cycles}) {
    std::vector<FadePoint> points;
    for (const FadePoint& p : input.points) {
      if (place_of(p, axis) && p.ah > 0) points.push_back(p);
    }
    FadeRow row;
    row.against = axis;
    row.witness = input.witness.verdict;
    row.n_months = points.size();
    if (points.empty()) {
      row.reason = input.points.empty()
                       ? "no month has five charges of like temperature that tell a capacity; " +
                             std::string(kCure)
                       : why_no_place(axis);
      row.slope_pct_per_unit = row.measured_pct = MaybeFigure::unknown(row.reason);
      row.smallest_detectable_why = row.expected_why = row.reason;
      rows.push_back(std::move(row));
      continue;
    }
    std::stable_sort(points.begin(), points.end(),
                     [](const auto& a, const auto& b) { return a.month < b.month; });
    std::vector<MonthValue> values;
    std::vector<double> places, months;
    for (const FadePoint& p : points) {
      places.push_back(*place_of(p, axis));
      months.push_back(p.month);
      values.push_back({p.month, places.back(), p.ah, p.u_random_ah});
    }
    const auto line = std::find_if(input.expectations.begin(), input.expectations.end(),
                                   [&](const auto& l) { return l.against == axis; });
    const LossLine* expectation = line == input.expectations.end() ? nullptr : &*line;
    const bool since_logged = (axis == FadeAxis::age_years && input.age_since_logged) ||
                              (axis == FadeAxis::full_cycles && input.cycles_since_logged);
    row.first_month = points.front().month;
    row.last_month = points.back().month;
    double mean_ah = 0;
    for (const FadePoint& p : points) mean_ah += p.ah / static_cast<double>(points.size());
    if (in_time.residual_sd) {
      if (const auto slope = smallest_detectable_slope(months, *in_time.residual_sd)) {
        row.smallest_detectable_pct_per_year = 12 * 100 * *slope / mean_ah;
      }
    }
    if (!row.smallest_detectable_pct_per_year) {
      row.smallest_detectable_why = detectable_in_a_year(points);
    }
    const TrendOrWhy fitted = fit_trend(values);
    const std::string why = fitted.why + "; " + std::string(kCure);
    if (fitted.trend && fitted.trend->at(places.front()) > 0) {
      const Trend& trend = *fitted.trend;
      const Lost lost = lost_since_logged(points, places, trend);
      const double pct = -100 / trend.at(lost.expected_from);
      row.weak = trend.weak;
      row.kendall = trend.kendall;
      row.slope_pct_per_unit =
          MaybeFigure::known({trend.slope * pct, trend.high * pct, trend.low * pct,
                              (trend.low - trend.high) / 2 * pct});
      row.since_first_logged = true;
      row.measured_pct = MaybeFigure::known(lost.pct);
      judge(row, lost, since_logged ? nullptr : expectation, input);
    } else {
      row.slope_pct_per_unit = MaybeFigure::unknown(why);
    }
    // A level that is confirmed may say what the slope cannot yet.
    if (row.against_expectation == LineVerdict::cannot_tell && input.usable_ah &&
        *input.usable_ah > 0) {
      FadeRow level = row;
      level.since_first_logged = false;
      const Lost lost = lost_since_new(points, places, *input.usable_ah);
      level.measured_pct = MaybeFigure::known(lost.pct);
      level.expected_pct.reset();
      judge(level, lost, since_logged ? nullptr : expectation, input);
      if (!row.measured_pct.figure || level.against_expectation != LineVerdict::cannot_tell) {
        row = std::move(level);
      }
    } else if (!row.measured_pct.figure) {
      row.measured_pct = MaybeFigure::unknown(
          why + "; nominal_ah is not in fleet.toml, or the level could be put against it");
      row.reason = row.measured_pct.why;
      row.expected_why = fitted.why;
    }
    if (!fitted.trend && !fitted.why.empty() && row.reason != row.measured_pct.why) {
      row.reason += "; " + why;
    }
    if (since_logged && expectation != nullptr) {
      row.reason = row.expected_why =
          std::string(axis == FadeAxis::age_years ? "when the van was new is not known (first_used "
                                                    "in fleet.toml would say it)"
                                                  : "what flowed before the first record is not "
                                                    "known") +
          ", so the expectation cannot be put against it";
    }
    if (row.since_first_logged && row.weak) {
      row.reason += "; weak below 24 months: seasons may still show through";
      row.findings.push_back(Finding::seasons_show_through);
    }
    if (row.measured_pct.figure) {
      if (input.witness.verdict == WitnessVerdict::contradicts) {
        row.findings.push_back(Finding::scale_contradicted);
      } else if (!input.witness.level_agrees &&
                 (input.witness.verdict == WitnessVerdict::too_little || !row.since_first_logged)) {
        row.findings.push_back(Finding::scale_not_confirmed);
      }
    }
    row.reason += "; " + std::string(kOneVan);
    rows.push_back(std::move(row));
  }
  return rows;
}

std::optional<Crossing> years_to_share(std::span<const FadePoint> points, double share) {
  if (!fit_trend(values_of(points)).trend) return std::nullopt;
  std::vector<double> years, ah;
  int first_month = points.front().month;
  for (const FadePoint& p : points) first_month = std::min(first_month, p.month);
  for (const FadePoint& p : points) {
    years.push_back((p.month - first_month) / 12.0);
    ah.push_back(p.ah);
  }
  const auto line = fit_line(years, ah);
  if (!line) return std::nullopt;
  std::vector<double> residuals;
  for (std::size_t i = 0; i < years.size(); ++i) residuals.push_back(ah[i] - line->at(years[i]));
  const double last = *std::max_element(years.begin(), years.end());
  // The first three months lie about a month after the first.
  return find_crossing(*line, share * line->at(1.0 / 12), 0, last,
                       persistence_of(residuals).widening);
}

}  // namespace packmile
