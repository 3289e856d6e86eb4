#include "pack/rest.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "energy/slow_signals.hpp"
#include "pack/robust.hpp"
#include "pack/student_t.hpp"

namespace packmile {
namespace {

constexpr std::int64_t kRestMs = 7'200'000;
constexpr double kRestA = 2;
constexpr std::int64_t kFirstReadingMs = 60'000;
// A code's worth, or one step of coarser answers, may still be the old reading.
// Common practice, no source.
constexpr double kAsleepPct = kSocPctPerCode;
// From here on a van that stands plugged in may be topped up unheard. A judgment.
constexpr double kToppedUpPct = 95;
constexpr double kAsleepReAnchorPct = 2 * kSocPctPerCode;
constexpr std::uint32_t kUnseenDriveCodes = 2;  // of the odometer, 0.1 km
// Awake time before the first pack row and after the last is not seen, beyond
// what a poll takes.
constexpr std::int64_t kEdgeMs = 10'000;
constexpr double kRestSamplingUAh = 0.05;  // and noise of the current; a judgment
constexpr double kRestBridgedU = 0.1;
constexpr double kAsymmetryU = 0.001;  // gain of discharge against charge; a judgment
constexpr std::int64_t kQuarterMs = std::int64_t{91} * 86'400'000;
constexpr std::size_t kLeastInBand = 3;
// Three codes: the middle one +-1.
constexpr double kBandPct = 3 * kSocPctPerCode;
constexpr std::int64_t kOldestSlowMs = 1'800'000;
constexpr double kLeastSpreadPct = 10;
// Rectangular, +-half a step.
const double kUOfStep = 1 / std::sqrt(12.0);
// A current that keeps its step this long is not dithered.
constexpr std::int64_t kStillRestMs = 60'000;
constexpr std::int64_t kStillToothMs = 10'000;

// What has flowed since the watch began; out of the pack positive.
struct Tally {
  double ah = 0;
  double one_way_ah = 0;
  double bridged_ah = 0;
  double awake_h = 0;
  double unseen_h = 0;
  // 1 sd: what the rounding of a current that stands still adds up to.
  double still_u_ah = 0;
};

Tally operator-(const Tally& a, const Tally& b) {
  return {a.ah - b.ah,           a.one_way_ah - b.one_way_ah, a.bridged_ah - b.bridged_ah,
          a.awake_h - b.awake_h, a.unseen_h - b.unseen_h,     a.still_u_ah - b.still_u_ah};
}

// Hours in which the current kept its step for a minute, by rows ten seconds apart:
// a current that is driven about is never still in all of them.
double still_hours(const PackRows& rows) {
  const int still_tenths = static_cast<int>(std::ceil(rows.a_step_a / kAmpPerCode - 1e-6));
  std::int64_t sum_ms = 0;
  std::int64_t from_ms = rows.time_ms.front();
  std::int64_t seen_ms = from_ms;
  int low = rows.tenths_a.front();
  int high = low;
  const auto close = [&] {
    if (seen_ms - from_ms >= kStillRestMs) sum_ms += seen_ms - from_ms;
  };
  // Rows of one period lie evenly: the stride is looked at anew at each tooth.
  for (std::size_t i = 0; i < rows.size();) {
    low = std::min<int>(low, rows.tenths_a[i]);
    high = std::max<int>(high, rows.tenths_a[i]);
    if (high - low > still_tenths) {
      close();
      from_ms = rows.time_ms[i];
      low = high = rows.tenths_a[i];
    }
    seen_ms = rows.time_ms[i];
    const std::int64_t step_ms =
        i + 1 < rows.size() ? std::max<std::int64_t>(1, rows.time_ms[i + 1] - rows.time_ms[i]) : 1;
    i += static_cast<std::size_t>(std::max<std::int64_t>(1, kStillToothMs / step_ms));
  }
  close();
  return static_cast<double>(sum_ms) / 3.6e6;
}

struct KnownRest {
  RestPoint point;
  Tally tally;
  std::size_t chain = 0;  // nothing unexplained happened within one
};

}  // namespace

struct RestWatch::State {
  std::optional<double> nominal_ah;
  CapacityRules rules;
  Tally tally;
  std::size_t chain = 0;
  std::optional<std::int64_t> last_end_ms;
  std::optional<double> last_soc_pct;
  std::optional<SlowSample> last_odometer;
  std::optional<std::uint32_t> last_segment;
  std::uint32_t last_log = 0, last_boot = 0;
  double last_a = 0;   // at its last row, out of the pack positive
  double last_ah = 0;  // of all of it
  std::vector<KnownRest> rests;
  std::vector<ReAnchor> re_anchors;
  std::size_t n_risen_at_rest = 0;
  // Of the present episode: answers between its first and its last row, and what
  // had been put in by then.
  SignalSeries soc_in_rows;
  std::vector<double> charged_ah;

  void look_at_start(const Episode& episode, const PackRows& rows, std::uint32_t segment,
                     double removed_a);
  void sum(const Episode& episode, const PackRows& rows, double removed_a);
  void look_for_re_anchors(const Episode& episode);
  [[nodiscard]] RestToRest pair_of(const KnownRest& a, const KnownRest& b) const;
};

RestWatch::RestWatch(std::optional<double> nominal_ah, CapacityRules rules)
    : state_(std::make_unique<State>()) {
  state_->nominal_ah = nominal_ah;
  state_->rules = rules;
}
RestWatch::~RestWatch() = default;
RestWatch::RestWatch(RestWatch&&) noexcept = default;
RestWatch& RestWatch::operator=(RestWatch&&) noexcept = default;

void RestWatch::State::look_at_start(const Episode& episode, const PackRows& rows,
                                     std::uint32_t segment, double removed_a) {
  const std::int64_t start_ms = unix_ms_of(episode.start);
  const Span beginning{start_ms, start_ms + kFirstReadingMs};
  const auto soc = first_in(episode.soc, beginning);
  const auto odometer = first_in(episode.odometer, {start_ms, unix_ms_of(episode.end)});
  const bool drove =
      last_odometer && odometer && odometer->raw >= last_odometer->raw + kUnseenDriveCodes;
  const double step_pct = episode.soc_step_pct;
  const double fallen_pct = last_soc_pct && soc ? *last_soc_pct - soc->raw * step_pct : 0;
  const auto moved = [&](double points) {
    return std::abs(fallen_pct) > std::max(points, step_pct) + 1e-9;
  };
  if (!last_end_ms || drove || moved(kAsleepPct) || last_segment != segment) ++chain;
  // A rise may be a charge that nobody saw; a fall with no drive is a change of
  // mind (or a use of the pack that nobody saw, which the row's Ah leaves open).
  if (last_end_ms && !drove && moved(kAsleepReAnchorPct) && fallen_pct > 0 &&
      last_segment == segment) {
    ReAnchor event;
    event.start = utc_of(*last_end_ms);
    event.end = utc_of(soc->time_ms);
    event.place = ReAnchorPlace::asleep;
    event.soc_before_pct = *last_soc_pct;
    event.soc_after_pct = soc->raw * step_pct;
    if (nominal_ah) {
      event.expected_ah = (event.soc_after_pct - event.soc_before_pct) / 100 * *nominal_ah;
    }
    re_anchors.push_back(event);
  }
  if (!last_end_ms || start_ms - *last_end_ms < kRestMs || !soc || rows.size() == 0) return;
  if (rows.time_ms[0] - start_ms > kFirstReadingMs ||
      std::abs(rows.tenths_a[0] * kAmpPerCode + removed_a) >= kRestA) {
    return;
  }
  const double step_or_two_pct = std::max(kAsleepReAnchorPct, 2 * step_pct);
  const double risen_pct = -fallen_pct;
  const bool listened = last_log == episode.log_id && last_boot == episode.boot_id;
  const bool may_be_charge =
      !listened || last_a <= -kRestA || last_ah < 0 || soc->raw * step_pct >= kToppedUpPct;
  if (!drove && last_segment == segment && !may_be_charge && risen_pct > 1e-9 &&
      risen_pct <= step_or_two_pct + 1e-9) {
    ++n_risen_at_rest;
  }
  KnownRest rest;
  rest.point.at = utc_of(rows.time_ms[0]);
  rest.point.segment = segment;
  rest.point.soc_pct = soc->raw * step_pct;
  rest.point.soc_step_pct = step_pct;
  rest.point.pack_v = rows.v_raw[0] * kVoltPerCode;
  rest.point.v_step_v = rows.v_step_v;
  rest.point.rested_h = static_cast<double>(start_ms - *last_end_ms) / 3.6e6;
  if (const auto ambient = first_in(episode.ambient, {start_ms, start_ms + kOldestSlowMs})) {
    rest.point.ambient_c = static_cast<double>(ambient->raw) - 40;
  }
  rest.tally = tally;
  rest.chain = chain;
  rests.push_back(rest);
}

// One walk over the rows: what flowed, and the charge at every answer of the state
// of charge.
void RestWatch::State::sum(const Episode& episode, const PackRows& rows, double removed_a) {
  const double episode_h =
      static_cast<double>(unix_ms_of(episode.end) - unix_ms_of(episode.start)) / 3.6e6;
  tally.awake_h += episode_h;
  soc_in_rows.time_ms.clear();
  soc_in_rows.raw.clear();
  charged_ah.clear();
  if (rows.size() == 0) {
    tally.unseen_h += episode_h;
    return;
  }
  const SignalSeries& soc = episode.soc;
  auto next_soc = static_cast<std::size_t>(
      std::lower_bound(soc.time_ms.begin(), soc.time_ms.end(), rows.time_ms.front()) -
      soc.time_ms.begin());
  const EnergyRules energy;
  const double gain = rows.gain ? rows.gain->charge : 1;
  const double ah_per_twice = gain * kAhPerRaw / 2;
  const std::int64_t* time_ms = rows.time_ms.data();
  const std::int16_t* tenths = rows.tenths_a.data();
  const std::uint32_t* periods = rows.period_ms.data();
  std::uint32_t period_ms = periods[0];
  const auto longest = [&](std::uint32_t next_ms) {
    return static_cast<std::int64_t>(longest_step_ms(period_ms, next_ms, energy.gap_periods));
  };
  std::int64_t longest_ms = longest(period_ms);
  std::int64_t twice = 0, twice_one_way = 0;  // tenths_a * ms
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const std::int64_t step_ms = time_ms[i] - time_ms[i - 1];
    const std::int64_t step = (tenths[i] + tenths[i - 1]) * step_ms;
    while (next_soc < soc.time_ms.size() && soc.time_ms[next_soc] <= time_ms[i]) {
      const double share = step_ms > 0
                               ? static_cast<double>(soc.time_ms[next_soc] - time_ms[i - 1]) /
                                     static_cast<double>(step_ms)
                               : 0;
      soc_in_rows.time_ms.push_back(soc.time_ms[next_soc]);
      soc_in_rows.raw.push_back(soc.raw[next_soc]);
      charged_ah.push_back(-(static_cast<double>(twice) + share * static_cast<double>(step)) *
                           ah_per_twice);
      ++next_soc;
    }
    twice += step;
    twice_one_way += std::max<std::int64_t>(0, step);
    const bool changed = periods[i] != period_ms;
    if (step_ms > (changed ? longest(periods[i]) : longest_ms)) {
      tally.bridged_ah += std::abs(static_cast<double>(step)) * ah_per_twice;
      tally.unseen_h += static_cast<double>(step_ms) / 3.6e6;
    }
    if (changed) {
      period_ms = periods[i];
      longest_ms = longest(period_ms);
    }
  }
  const auto rows_h = static_cast<double>(time_ms[rows.size() - 1] - time_ms[0]) / 3.6e6;
  tally.ah += static_cast<double>(twice) * ah_per_twice + gain * removed_a * rows_h;
  tally.one_way_ah += static_cast<double>(twice_one_way) * ah_per_twice;
  tally.still_u_ah += still_hours(rows) * rows.a_step_a * kUOfStep;
  for (const std::int64_t edge_ms : {rows.time_ms.front() - unix_ms_of(episode.start),
                                     unix_ms_of(episode.end) - rows.time_ms.back()}) {
    if (edge_ms > kEdgeMs) tally.unseen_h += static_cast<double>(edge_ms) / 3.6e6;
  }
}

void RestWatch::State::look_for_re_anchors(const Episode& episode) {
  if (!nominal_ah || soc_in_rows.raw.size() < 2) return;
  const double step_pct = episode.soc_step_pct;
  const auto events =
      find_re_anchors(soc_in_rows, step_pct, charged_ah, *nominal_ah / 100,
                      steps_that_fit(soc_in_rows.raw, step_pct).front(), ReAnchorPlace::awake);
  re_anchors.insert(re_anchors.end(), events.begin(), events.end());
}

void RestWatch::add(const Episode& episode, const PackRows& rows, std::uint32_t segment,
                    double removed_a) {
  if (episode.end <= episode.start) return;
  State& state = *state_;
  state.look_at_start(episode, rows, segment, removed_a);
  const double before_ah = state.tally.ah;
  state.sum(episode, rows, removed_a);
  state.last_ah = state.tally.ah - before_ah;
  state.last_a = rows.size() > 0 ? rows.tenths_a[rows.size() - 1] * kAmpPerCode + removed_a : 0;
  state.last_log = episode.log_id;
  state.last_boot = episode.boot_id;
  state.look_for_re_anchors(episode);
  state.last_end_ms = unix_ms_of(episode.end);
  state.last_segment = segment;
  const Span whole{unix_ms_of(episode.start), unix_ms_of(episode.end)};
  // What was known before may be old: only this episode's end counts.
  state.last_soc_pct.reset();
  if (const auto soc = last_in(episode.soc, whole)) {
    state.last_soc_pct = soc->raw * episode.soc_step_pct;
  }
  if (const auto odometer = last_in(episode.odometer, whole)) state.last_odometer = odometer;
}

RestToRest RestWatch::State::pair_of(const KnownRest& a, const KnownRest& b) const {
  const Tally between = b.tally - a.tally;
  RestToRest pair;
  pair.start = a.point.at;
  pair.end = b.point.at;
  pair.segment = b.point.segment;
  pair.ambient_c = b.point.ambient_c;
  pair.soc_low_pct = std::min(a.point.soc_pct, b.point.soc_pct);
  pair.soc_high_pct = std::max(a.point.soc_pct, b.point.soc_pct);
  pair.soc_step_pct = b.point.soc_step_pct;
  pair.awake_h = between.awake_h;
  const double fallen = (a.point.soc_pct - b.point.soc_pct) / 100;
  const double turn = fallen < 0 ? -1 : 1;
  PointWithErrors& point = pair.point;
  point.x = std::abs(fallen);
  point.y = turn * between.ah;
  point.t = turn * between.awake_h;
  point.u_x = std::sqrt(2.0) * std::hypot(kUOfStep * b.point.soc_step_pct / 100, kSocAtRestU);
  point.u_y = std::hypot(std::hypot(kRestSamplingUAh, between.still_u_ah),
                         kRestBridgedU * between.bridged_ah, kAsymmetryU * between.one_way_ah);
  const double ah = point.y / point.x;
  pair.ah = capacity_figure(ah, std::hypot(point.u_y, ah * point.u_x) / point.x,
                            between.awake_h / point.x, {rules.current_gain_u, rules.offset_u_a});
  return pair;
}

double shared_rests_widening(std::span<const RestToRest* const> pairs) {
  if (pairs.empty()) return 1;
  double shared = 0;
  for (std::size_t i = 1; i < pairs.size(); ++i) {
    if (pairs[i]->start != pairs[i - 1]->end) continue;
    shared += pairs[i]->point.t * pairs[i - 1]->point.t < 0 ? 1 : -1;
  }
  // Two rests each: 2 n variances of one, and twice what is shared.
  const auto n = static_cast<double>(pairs.size());
  return std::sqrt(std::max(1 / n, 1 + shared / n));
}

RestObservations RestWatch::finish() {
  State& state = *state_;
  RestObservations result;
  for (const KnownRest& rest : state.rests) result.points.push_back(rest.point);
  std::size_t from = 0;  // the pairs do not overlap
  for (std::size_t to = 1; to < state.rests.size(); ++to) {
    const KnownRest& b = state.rests[to];
    bool refused = false;
    for (std::size_t i = from; i < to; ++i) {
      const KnownRest& a = state.rests[i];
      const double apart_pct = std::abs(a.point.soc_pct - b.point.soc_pct);
      if (apart_pct < state.rules.least_window_pct) continue;
      const Tally between = b.tally - a.tally;
      const double coverage = between.awake_h > 0 ? 1 - between.unseen_h / between.awake_h : 0;
      if (a.chain != b.chain || coverage < state.rules.least_coverage) {
        refused = refused || i + 1 == to;
        continue;
      }
      const RestToRest pair = state.pair_of(a, b);
      if (!(pair.point.y > 0)) {
        refused = refused || i + 1 == to;
        continue;
      }
      result.pairs.push_back(pair);
      from = to;
      refused = false;
      break;
    }
    result.n_refused += refused;
  }
  result.re_anchors = std::move(state.re_anchors);
  result.n_risen_at_rest = state.n_risen_at_rest;
  auto fresh = std::make_unique<State>();
  fresh->nominal_ah = state.nominal_ah;
  fresh->rules = state.rules;
  state_ = std::move(fresh);
  return result;
}

RestDriftOrWhy tell_rest_drift(std::span<const RestPoint> points) {
  RestDriftOrWhy result;
  if (points.size() < 2 * kLeastInBand ||
      unix_ms_of(points.back().at) - unix_ms_of(points.front().at) < 2 * kQuarterMs) {
    result.why = "long rests reach over less than half a year";
    return result;
  }
  const std::int64_t early_ms = unix_ms_of(points.front().at) + kQuarterMs;
  const std::int64_t late_ms = unix_ms_of(points.back().at) - kQuarterMs;
  struct Band {
    std::vector<double> early_v, late_v;
    double v_step_v = kVoltPerCode;
  };
  std::map<std::pair<TemperatureStratum, std::uint32_t>, Band> bands;
  std::vector<double> soc_pct, volt;
  for (const RestPoint& p : points) {
    Band& band =
        bands[{stratum_of(p.ambient_c), static_cast<std::uint32_t>(p.soc_pct / kBandPct + 1e-9)}];
    band.v_step_v = std::max(band.v_step_v, p.v_step_v);
    if (unix_ms_of(p.at) <= early_ms) band.early_v.push_back(p.pack_v);
    if (unix_ms_of(p.at) >= late_ms) band.late_v.push_back(p.pack_v);
    soc_pct.push_back(p.soc_pct);
    volt.push_back(p.pack_v);
  }
  RestDrift drift;
  double weights = 0, weighted = 0, volt_sum = 0;
  std::size_t n_bands = 0;
  for (const auto& [key, band] : bands) {
    if (band.early_v.size() < kLeastInBand || band.late_v.size() < kLeastInBand) continue;
    const double u_of_step_v = band.v_step_v * kUOfStep;
    const auto u_of = [&](const std::vector<double>& v) {
      return kMedianFactor * std::hypot(robust_sd(v), u_of_step_v) /
             std::sqrt(static_cast<double>(v.size()));
    };
    const double was = median_of(band.early_v);
    const double change = median_of(band.late_v) - was;
    const double u = std::hypot(u_of(band.early_v), u_of(band.late_v));
    const double weight = 1 / (u * u);
    weights += weight;
    weighted += weight * change;
    volt_sum += was;
    ++n_bands;
    drift.n_early += band.early_v.size();
    drift.n_late += band.late_v.size();
  }
  if (n_bands == 0) {
    result.why =
        "no state of charge was rested at three times in the first and in the last three months";
    return result;
  }
  const double mean_v = volt_sum / static_cast<double>(n_bands);
  const double change_v = weighted / weights;
  const double degrees =
      static_cast<double>(drift.n_early + drift.n_late) - 2 * static_cast<double>(n_bands);
  const double half_v = student_t_95(degrees) / std::sqrt(weights);
  if (!(mean_v > 0)) {
    result.why = "no voltage was read at rest";
    return result;
  }
  const double pct = 100 / mean_v;
  drift.change_pct = {change_v * pct, (change_v - half_v) * pct, (change_v + half_v) * pct,
                      half_v * pct};
  const auto [low, high] = std::minmax_element(soc_pct.begin(), soc_pct.end());
  if (*high - *low >= kLeastSpreadPct && soc_pct.size() <= kMostPoints) {
    const auto curve = fit_theil_sen(soc_pct, volt);
    if (curve && curve->low > 0) {
      const double per_v = 1 / curve->slope;
      drift.points = Figure{change_v * per_v, (change_v - half_v) * per_v,
                            (change_v + half_v) * per_v, half_v * per_v};
    }
  }
  result.drift = drift;
  return result;
}

}  // namespace packmile
