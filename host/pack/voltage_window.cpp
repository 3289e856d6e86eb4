#include "pack/voltage_window.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "pack/robust.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

constexpr double kLeastCoverage = 0.98;
// The plateau goes on while current or power is this near to its usual value: a
// charger holds one of the two.
constexpr double kOnPlateau = 0.97;
constexpr double kPauseShare = 0.5;
constexpr std::int64_t kPauseMs = 60'000;
// Voltage climbs onto its curve after switching on: this long, and for this share
// of the plateau's charge, so that slow charges wait longer. Common practice, no
// source.
constexpr std::int64_t kSettleMs = 10'000;
constexpr double kSettleShare = 0.005;
constexpr std::int64_t kLeastPlateauMs = 600'000;
// Off the end, where the charger begins to hold the voltage.
constexpr double kEndShare = 0.01;
constexpr double kPowerAlike = 0.10;
constexpr std::size_t kLeastGroup = 3;
constexpr double kCoverGroup = 0.6;
constexpr std::size_t kMostCandidates = 40;
constexpr double kLeastWidthV = 2;
// Of a day's 24 h: the first and the last quarter of a year are compared.
constexpr std::int64_t kWindowQuarterMs = std::int64_t{91} * 86'400'000;
constexpr std::size_t kLeastPoints = 3;

struct Plateau {
  std::size_t from = 0;
  std::size_t to = 0;  // included
  double usual_kw = 0;
};

std::optional<Plateau> find_plateau(const ChargeTrace& trace, std::string& why) {
  const std::size_t n = trace.time_ms.size();
  const auto kw = [&](std::size_t i) { return trace.charge_a[i] * trace.pack_v[i] / 1000; };
  double most_kw = 0;
  for (std::size_t i = 0; i < n; ++i) most_kw = std::max(most_kw, kw(i));
  std::vector<double> strong_kw, strong_a;
  for (std::size_t i = 0; i < n; ++i) {
    if (kw(i) < kPauseShare * most_kw) continue;
    strong_kw.push_back(kw(i));
    strong_a.push_back(trace.charge_a[i]);
  }
  Plateau plateau;
  plateau.usual_kw = median_of(std::move(strong_kw));
  const double usual_a = median_of(std::move(strong_a));
  if (!(plateau.usual_kw > 0) || !(usual_a > 0)) {
    why = "nothing was put in";
    return std::nullopt;
  }
  const auto on = [&](std::size_t i) {
    return std::max(trace.charge_a[i] / usual_a, kw(i) / plateau.usual_kw) >= kOnPlateau;
  };
  std::size_t from = 0;
  while (from < n && !on(from)) ++from;
  std::size_t to = n - 1;
  while (to > from && !on(to)) --to;
  std::int64_t off_ms = 0;
  for (std::size_t i = from + 1; i <= to; ++i) {
    off_ms = kw(i) < kPauseShare * plateau.usual_kw
                 ? off_ms + trace.time_ms[i] - trace.time_ms[i - 1]
                 : 0;
    if (off_ms > kPauseMs ||
        (trace.after_gap[i] && trace.time_ms[i] - trace.time_ms[i - 1] > kPauseMs)) {
      why = "there is a pause inside";
      return std::nullopt;
    }
  }
  if (from >= n || trace.time_ms[to] - trace.time_ms[from] < kLeastPlateauMs) {
    why = "it holds no power for ten minutes";
    return std::nullopt;
  }
  plateau.from = from;
  plateau.to = to;
  return plateau;
}

double grid_above(double volt) { return std::ceil(volt / kProfileStepV) * kProfileStepV; }
double grid_below(double volt) { return std::floor(volt / kProfileStepV) * kProfileStepV; }

// At most kMostCandidates of the values, evenly over their ranks.
std::vector<double> thin_out(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  values.erase(std::unique(values.begin(), values.end()), values.end());
  if (values.size() <= kMostCandidates) return values;
  std::vector<double> some;
  for (std::size_t i = 0; i < kMostCandidates; ++i) {
    some.push_back(values[i * (values.size() - 1) / (kMostCandidates - 1)]);
  }
  return some;
}

struct Window {
  double low_v = 0;
  double high_v = 0;
};

std::optional<Window> choose_window(const std::vector<const VoltageProfile*>& group) {
  std::vector<double> lows, highs;
  for (const VoltageProfile* p : group) {
    lows.push_back(grid_above(p->from_v));
    highs.push_back(grid_below(p->to_v));
  }
  const auto least =
      std::max(static_cast<double>(kLeastGroup), kCoverGroup * static_cast<double>(group.size()));
  std::optional<Window> best;
  double best_worth = 0;
  const std::vector<double> some_highs = thin_out(highs);
  for (const double low : thin_out(lows)) {
    for (const double high : some_highs) {
      if (high - low < kLeastWidthV) continue;
      double covering = 0;
      for (std::size_t i = 0; i < group.size(); ++i) covering += lows[i] <= low && highs[i] >= high;
      if (covering < least || covering * (high - low) <= best_worth) continue;
      best_worth = covering * (high - low);
      best = Window{low, high};
    }
  }
  return best;
}

// Compares the last quarter of a year with the first.
void tell_change(WindowSeries& series) {
  const auto ms = [](const WindowPoint& p) { return p.at.time_since_epoch().count(); };
  const std::int64_t first_ms = ms(series.points.front());
  const std::int64_t last_ms = ms(series.points.back());
  if (last_ms - first_ms < 2 * kWindowQuarterMs) {
    series.why = "like charges reach over less than half a year";
    return;
  }
  std::vector<double> early, late, days, all;
  double early_day = 0, late_day = 0;
  for (const WindowPoint& p : series.points) {
    const double day = static_cast<double>(ms(p) - first_ms) / 86.4e6;
    days.push_back(day);
    all.push_back(p.ah);
    if (ms(p) <= first_ms + kWindowQuarterMs) {
      early.push_back(p.ah);
      early_day += day;
    }
    if (ms(p) >= last_ms - kWindowQuarterMs) {
      late.push_back(p.ah);
      late_day += day;
    }
  }
  if (early.size() < kLeastPoints || late.size() < kLeastPoints) {
    series.why = "fewer than three like charges in the first or the last three months";
    return;
  }
  if (all.size() > kMostPoints) {
    series.why = "too many charges for one series";
    return;
  }
  // What the line does not explain, season included, makes the width.
  const auto line = fit_theil_sen(days, all);
  if (!line) {
    series.why = "all like charges are of one moment";
    return;
  }
  std::vector<double> residuals;
  for (std::size_t i = 0; i < all.size(); ++i) {
    residuals.push_back(all[i] - line->intercept - line->slope * days[i]);
  }
  const double sd = robust_sd(residuals);
  const double widening = persistence_of(residuals).widening;
  const double was = median_of(early);
  const double is = median_of(late);
  const auto n_early = static_cast<double>(early.size());
  const auto n_late = static_cast<double>(late.size());
  if (!(was > 0)) {
    series.why = "nothing was put in between the two voltages";
    return;
  }
  const double u = kMedianFactor * sd * widening * std::sqrt(1 / n_early + 1 / n_late) / was;
  const double change = is / was - 1;
  const double t = student_t_95(static_cast<double>(all.size()) - 2);
  WindowChange told;
  told.change_pct = {100 * change, 100 * (change - t * u), 100 * (change + t * u), 100 * t * u};
  told.days = late_day / n_late - early_day / n_early;
  told.direction = told.change_pct.high < 0  ? Direction::fell
                   : told.change_pct.low > 0 ? Direction::rose
                                             : Direction::no_change_seen;
  const double low = told.change_pct.low;
  const double high = told.change_pct.high;
  told.capacity_low_pct = low / (low < 0 ? kWindowLeastElasticity : kWindowMostElasticity);
  told.capacity_high_pct = high / (high > 0 ? kWindowLeastElasticity : kWindowMostElasticity);
  series.change = told;
}

bool alike(const VoltageProfile& a, const VoltageProfile& b) {
  return a.segment == b.segment && a.kind == b.kind && a.stratum == b.stratum;
}

}  // namespace

std::string_view word_of(Direction direction) {
  switch (direction) {
    case Direction::fell:
      return "fell";
    case Direction::rose:
      return "rose";
    case Direction::no_change_seen:
      return "no_change_seen";
  }
  return "";
}

ProfileOrWhy profile_charge(const ChargeTrace& trace) {
  ProfileOrWhy result;
  if (trace.verdict != CurrentVerdict::agreed) {
    result.why = "what the pack-current word means is not proven for this van";
    return result;
  }
  if (trace.time_ms.size() < 2 || trace.coverage < kLeastCoverage) {
    result.why = "less than 98 % of the charge was seen";
    return result;
  }
  const auto plateau = find_plateau(trace, result.why);
  if (!plateau) return result;
  const double put_in_ah = trace.ah[plateau->to] - trace.ah[plateau->from];
  std::size_t from = plateau->from;
  while (from < plateau->to &&
         (trace.time_ms[from] - trace.time_ms[plateau->from] < kSettleMs ||
          trace.ah[from] - trace.ah[plateau->from] < kSettleShare * put_in_ah)) {
    ++from;
  }
  VoltageProfile profile;
  profile.start = trace.start;
  profile.kind = trace.kind;
  profile.stratum = stratum_of(trace.ambient_c);
  profile.segment = trace.segment;
  profile.ambient_c = trace.ambient_c;
  profile.odometer_km = trace.odometer_km;
  profile.plateau_kw = plateau->usual_kw;
  double reached_v = trace.pack_v[plateau->from];
  for (std::size_t i = plateau->from; i <= from; ++i) {
    reached_v = std::max(reached_v, trace.pack_v[i]);
  }
  profile.from_v = grid_above(reached_v);
  double highest_v = reached_v;
  for (std::size_t i = from; i <= plateau->to; ++i) {
    highest_v = std::max(highest_v, trace.pack_v[i]);
  }
  profile.to_v = grid_below(highest_v * (1 - kEndShare));
  // 65,535 codes of 1/64 V: never more than 4,096 steps.
  double next_v = profile.from_v;
  for (std::size_t i = from + 1; i <= plateau->to && next_v <= profile.to_v; ++i) {
    const double volt = trace.pack_v[i];
    if (volt <= reached_v) continue;
    while (next_v <= volt && next_v <= profile.to_v) {
      const double share = (next_v - reached_v) / (volt - reached_v);
      profile.ah.push_back(trace.ah[i - 1] + share * (trace.ah[i] - trace.ah[i - 1]));
      next_v = profile.from_v + static_cast<double>(profile.ah.size()) * kProfileStepV;
    }
    reached_v = volt;
  }
  if (profile.ah.size() < 2) {
    result.why = "its voltage does not rise while it holds its power";
    return result;
  }
  profile.to_v = profile.from_v + static_cast<double>(profile.ah.size() - 1) * kProfileStepV;
  result.profile = std::move(profile);
  return result;
}

std::optional<double> window_ah(const VoltageProfile& profile, double low_v, double high_v) {
  if (!(low_v < high_v) || low_v < profile.from_v || high_v > profile.to_v) return std::nullopt;
  const auto at = [&](double volt) {
    const double place = (volt - profile.from_v) / kProfileStepV;
    const auto i = std::min(static_cast<std::size_t>(place), profile.ah.size() - 2);
    const double share = place - static_cast<double>(i);
    return profile.ah[i] + share * (profile.ah[i + 1] - profile.ah[i]);
  };
  return at(high_v) - at(low_v);
}

std::vector<WindowSeries> build_window_series(std::span<const VoltageProfile> profiles) {
  std::vector<const VoltageProfile*> left;
  for (const VoltageProfile& p : profiles) left.push_back(&p);
  std::stable_sort(left.begin(), left.end(), [](const auto* a, const auto* b) {
    return std::tuple(a->segment, a->kind, a->stratum, a->plateau_kw) <
           std::tuple(b->segment, b->kind, b->stratum, b->plateau_kw);
  });
  std::vector<WindowSeries> all;
  while (left.size() >= kLeastGroup) {
    // The fullest band of power within one kind; sorted, so a band is a range.
    std::size_t best_from = 0, best_past = 0, from = 0;
    for (std::size_t past = 1; past <= left.size(); ++past) {
      const VoltageProfile& last = *left[past - 1];
      while (!alike(*left[from], last) ||
             left[from]->plateau_kw * (1 + kPowerAlike) < last.plateau_kw * (1 - kPowerAlike)) {
        ++from;
      }
      if (past - from > best_past - best_from) {
        best_from = from;
        best_past = past;
      }
    }
    if (best_past - best_from < kLeastGroup) break;
    const auto begin = left.begin() + static_cast<std::ptrdiff_t>(best_from);
    const auto end = left.begin() + static_cast<std::ptrdiff_t>(best_past);
    std::vector<const VoltageProfile*> group(begin, end);
    left.erase(begin, end);
    WindowSeries series;
    series.kind = group.front()->kind;
    series.stratum = group.front()->stratum;
    series.segment = group.front()->segment;
    series.plateau_kw = group[group.size() / 2]->plateau_kw;
    const auto window = choose_window(group);
    if (!window) continue;
    series.low_v = window->low_v;
    series.high_v = window->high_v;
    std::stable_sort(group.begin(), group.end(),
                     [](const auto* a, const auto* b) { return a->start < b->start; });
    for (const VoltageProfile* p : group) {
      if (const auto ah = window_ah(*p, series.low_v, series.high_v)) {
        series.points.push_back({p->start, p->odometer_km, *ah});
      } else {
        ++series.n_not_spanning;
      }
    }
    tell_change(series);
    all.push_back(std::move(series));
  }
  std::stable_sort(all.begin(), all.end(),
                   [](const auto& a, const auto& b) { return a.points.size() > b.points.size(); });
  return all;
}

}  // namespace packmile
