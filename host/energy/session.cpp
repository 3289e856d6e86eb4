#include "energy/session.hpp"

#include <algorithm>
#include <cmath>

#include "energy/charge_curve.hpp"
#include "energy/slow_signals.hpp"
#include "energy/soc_energy.hpp"
#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

constexpr std::int64_t kMinuteMs = 60'000;
constexpr std::int64_t kLeastOfMinuteMs = 30'000;
constexpr std::int64_t kPeakMs = 10'000;
constexpr std::int64_t kStrongMs = 30'000;
constexpr double kStrongKw = 25;
constexpr double kAboveRating = 1.1;
constexpr std::size_t kSteadyMinutes = 10;
constexpr double kSteadySd = 0.03;

// AC: conversion 5-10 %, control electronics 100-300 W (a motoring club's
// measurements of 2022, read through press pages).
constexpr ChargerLoss kAcLoss{0.925, 0.025, 0.2, 0.1};
// DC: between the post's counter and the pack's sensor nothing converts and nothing
// can be won: cable and contacts take 0 to 1.5 % of what flows, the van itself 100 to
// 500 W. Judgments; the one measured charge, of 18 kW, lost 1.8 % in all.
constexpr ChargerLoss kDcLoss{0.9925, 0.0075, 0.3, 0.2};

// Mean power into the pack over whole minutes, seen time only.
std::vector<double> minute_means(const PackRows& rows, const Segment& segment, double gap_periods) {
  std::vector<double> means;
  double energy = 0;  // kW * ms
  std::int64_t seen_ms = 0;
  std::int64_t minute = 0;
  const std::int64_t start_ms = rows.time_ms[segment.row_from];
  const auto close = [&] {
    if (seen_ms >= kLeastOfMinuteMs) means.push_back(-energy / static_cast<double>(seen_ms));
    energy = 0;
    seen_ms = 0;
  };
  for (std::size_t i = segment.row_from; i < segment.row_to; ++i) {
    const std::int64_t step_ms = rows.time_ms[i + 1] - rows.time_ms[i];
    const std::int64_t now = (rows.time_ms[i] - start_ms) / kMinuteMs;
    if (now != minute) close();
    minute = now;
    if (static_cast<double>(step_ms) >
        longest_step_ms(rows.period_ms[i], rows.period_ms[i + 1], gap_periods)) {
      continue;
    }
    energy += (rows.power_kw(i) + rows.power_kw(i + 1)) / 2 * static_cast<double>(step_ms);
    seen_ms += step_ms;
  }
  close();
  return means;
}

struct Peak {
  double kw = 0;
  double v = 0;  // pack voltage at its end
};

// Greatest mean into the pack over windows of at least `length_ms` without a
// gap; absent: there is no such window.
std::optional<Peak> greatest_mean(const PackRows& rows, const Segment& segment,
                                  std::int64_t length_ms, double gap_periods) {
  std::optional<Peak> best;
  double energy = 0;
  std::size_t tail = segment.row_from;
  const auto step_of = [&](std::size_t i) {
    return (rows.power_kw(i) + rows.power_kw(i + 1)) / 2 *
           static_cast<double>(rows.time_ms[i + 1] - rows.time_ms[i]);
  };
  for (std::size_t i = segment.row_from; i < segment.row_to; ++i) {
    const auto step_ms = static_cast<double>(rows.time_ms[i + 1] - rows.time_ms[i]);
    if (step_ms > longest_step_ms(rows.period_ms[i], rows.period_ms[i + 1], gap_periods)) {
      tail = i + 1;
      energy = 0;
      continue;
    }
    energy += step_of(i);
    while (tail < i && rows.time_ms[i + 1] - rows.time_ms[tail + 1] >= length_ms) {
      energy -= step_of(tail++);
    }
    const std::int64_t span_ms = rows.time_ms[i + 1] - rows.time_ms[tail];
    if (span_ms < length_ms) continue;
    const double mean = -energy / static_cast<double>(span_ms);
    if (!best || mean > best->kw) best = Peak{mean, rows.v_raw[i + 1] * kVoltPerCode};
  }
  return best;
}

ChargeBandHours hours_by_band(const PackRows& rows, const Segment& segment, double gap_periods) {
  std::array<std::int64_t, kChargeBandFromKw.size()> ms{};
  for (std::size_t i = segment.row_from; i < segment.row_to; ++i) {
    const std::int64_t step_ms = rows.time_ms[i + 1] - rows.time_ms[i];
    if (static_cast<double>(step_ms) >
        longest_step_ms(rows.period_ms[i], rows.period_ms[i + 1], gap_periods)) {
      continue;
    }
    const double kw = -(rows.power_kw(i) + rows.power_kw(i + 1)) / 2;
    std::size_t band = kChargeBandFromKw.size();
    while (band > 0 && kw < kChargeBandFromKw[band - 1]) --band;
    if (band > 0) ms[band - 1] += step_ms;
  }
  ChargeBandHours hours{};
  for (std::size_t k = 0; k < hours.size(); ++k) hours[k] = static_cast<double>(ms[k]) / 3.6e6;
  return hours;
}

double plateau_kw(std::vector<double> minute_kw) {
  const std::size_t top = (minute_kw.size() + 3) / 4;
  std::sort(minute_kw.begin(), minute_kw.end(), std::greater<>{});
  return top % 2 == 1 ? minute_kw[top / 2] : (minute_kw[top / 2 - 1] + minute_kw[top / 2]) / 2;
}

bool has_steady_plateau(const std::vector<double>& minute_kw) {
  for (std::size_t i = 0; i + kSteadyMinutes <= minute_kw.size(); ++i) {
    double sum = 0;
    for (std::size_t k = i; k < i + kSteadyMinutes; ++k) sum += minute_kw[k];
    const double mean = sum / kSteadyMinutes;
    double squares = 0;
    for (std::size_t k = i; k < i + kSteadyMinutes; ++k) {
      squares += (minute_kw[k] - mean) * (minute_kw[k] - mean);
    }
    if (mean > 0 && std::sqrt(squares / (kSteadyMinutes - 1)) < kSteadySd * mean) return true;
  }
  return false;
}

}  // namespace

ChargeKind charge_kind(const std::vector<double>& minute_kw, double strong_kw,
                       std::optional<double> onboard_charger_kw) {
  if (!onboard_charger_kw) return strong_kw > kStrongKw ? ChargeKind::dc : ChargeKind::unknown;
  if (minute_kw.empty()) return ChargeKind::unknown;
  const double plateau = plateau_kw(minute_kw);
  if (plateau > kAboveRating * *onboard_charger_kw) return ChargeKind::dc;
  if (plateau <= *onboard_charger_kw && has_steady_plateau(minute_kw)) return ChargeKind::ac;
  return ChargeKind::unknown;
}

std::optional<ChargerLoss> charger_loss_of(ChargeKind kind) {
  switch (kind) {
    case ChargeKind::unknown:
      return std::nullopt;
    case ChargeKind::ac:
      return kAcLoss;
    case ChargeKind::dc:
      return kDcLoss;
  }
  return std::nullopt;
}

MaybeFigure grid_energy_kwh(ChargeKind kind, const Figure& pack_kwh, double hours) {
  const auto known = charger_loss_of(kind);
  if (!known)
    return MaybeFigure::unknown(
        "AC or DC is not known: enter onboard_charger_kw in fleet.toml, or the place");
  const ChargerLoss& loss = *known;
  const Uncertainty pack = uncertainty_of(pack_kwh);
  const double grid = (pack_kwh.value + loss.idle_kw * hours) / loss.efficiency;
  const double u_efficiency = grid / loss.efficiency * loss.efficiency_half_width / std::sqrt(3.0);
  const double u_idle = hours / loss.efficiency * loss.idle_half_width / std::sqrt(3.0);
  return MaybeFigure::known(
      figure_of(grid, pack.random / loss.efficiency,
                std::hypot(u_efficiency, u_idle, pack.systematic / loss.efficiency)));
}

SessionWork sum_session(const SegmentInput& input, const Segment& segment) {
  SessionWork work;
  const Episode& episode = input.episode;
  work.span = segment.span;
  work.by_soc = segment.by_soc;
  work.start_doubt = episode.doubt_of(utc_of(segment.span.from_ms));
  work.end_doubt = episode.doubt_of(utc_of(segment.span.to_ms));
  work.touches_end = segment.span.to_ms >= episode.end.time_since_epoch().count() - kMinuteMs;
  add_clock_findings(work.findings, episode);
  const auto soc_first = before(episode.soc, segment.span.from_ms);
  const auto soc_inside = first_in(episode.soc, segment.span);
  const auto soc_last = last_in(episode.soc, segment.span);
  if (soc_first && segment.span.from_ms - soc_first->time_ms <= 5 * kMinuteMs) {
    work.soc_first_pct = soc_first->raw * episode.soc_step_pct;
  } else if (soc_inside) {
    work.soc_first_pct = soc_inside->raw * episode.soc_step_pct;
  }
  if (soc_last) work.soc_last_pct = soc_last->raw * episode.soc_step_pct;
  work.soc_step_pct = episode.soc_step_pct;

  const PackEnergy energy = pack_energy_of(input, segment);
  for (const Finding finding : energy.findings) add_finding(work.findings, finding);
  work.verdict = energy.verdict;
  work.shown = energy.shown;
  work.why = energy.why;
  work.silent = energy.silent;
  work.integral = energy.integral;
  work.filled = fill_gaps(input, segment, energy, -1);
  if (!energy.shown) return work;
  const SocStory soc = soc_story(input, segment);
  if (soc.against_current) add_finding(work.findings, Finding::soc_against_current);
  if (!soc.stuck_why.empty()) {
    work.shown = false;
    work.verdict = CurrentVerdict::contradictory;
    work.why = soc.stuck_why;
    add_finding(work.findings, Finding::soc_against_current);
    return work;
  }
  const double gap_periods = input.rules.gap_periods;
  work.minute_kw = minute_means(input.rows, segment, gap_periods);
  work.band_hours = hours_by_band(input.rows, segment, gap_periods);
  work.curve = charge_curve(input.rows, segment.row_from, segment.row_to);
  // Rows may begin a little later than the session.
  const std::int64_t late_ms = input.rows.time_ms[segment.row_from] - segment.span.from_ms;
  for (CurvePoint& point : work.curve) point.after_ms += late_ms;
  if (const auto peak = greatest_mean(input.rows, segment, kPeakMs, gap_periods)) {
    const double gain = input.rows.energy_gain_u_or(input.rules);
    work.peak_kw =
        figure_of(peak->kw, 0,
                  std::hypot(gain * peak->kw, input.rows.offset.u_or(input.rules) * peak->v / 1e3));
  }
  if (const auto strong = greatest_mean(input.rows, segment, kStrongMs, gap_periods)) {
    work.strong_kw = strong->kw;
  }
  return work;
}

void join_sessions(SessionWork& first, const SessionWork& second) {
  const double kwh = first.curve.empty() ? 0 : first.curve.back().kwh;
  for (CurvePoint point : second.curve) {
    point.after_ms += second.span.from_ms - first.span.from_ms;
    point.kwh += kwh;
    // The last row of the one may be the first of the other.
    if (first.curve.empty() || point.after_ms > first.curve.back().after_ms)
      first.curve.push_back(point);
  }
  first.span.to_ms = second.span.to_ms;
  first.touches_end = second.touches_end;
  first.end_doubt = second.end_doubt;
  if (first.shown && !second.shown) first.why = second.why;
  first.shown = first.shown && second.shown;
  first.integral += second.integral;
  if (first.filled.figure && second.filled.figure) {
    first.filled = MaybeFigure::known(sum_of(*first.filled.figure, *second.filled.figure));
  } else {
    first.filled = MaybeFigure::unknown(first.why);
  }
  first.minute_kw.insert(first.minute_kw.end(), second.minute_kw.begin(), second.minute_kw.end());
  if (second.peak_kw && (!first.peak_kw || second.peak_kw->value > first.peak_kw->value)) {
    first.peak_kw = second.peak_kw;
  }
  first.strong_kw = std::max(first.strong_kw, second.strong_kw);
  for (std::size_t k = 0; k < first.band_hours.size(); ++k)
    first.band_hours[k] += second.band_hours[k];
  if (second.soc_last_pct) first.soc_last_pct = second.soc_last_pct;
  first.soc_step_pct = std::max(first.soc_step_pct, second.soc_step_pct);
  for (const Finding finding : second.findings) add_finding(first.findings, finding);
}

SessionRows finish_session(const SessionWork& work, const VanFacts& facts,
                           const EnergyRules& rules) {
  SessionRows rows;
  ChargeSession& session = rows.session;
  session.start = utc_of(work.span.from_ms);
  session.end = utc_of(work.span.to_ms);
  session.start_doubt = work.start_doubt;
  session.end_doubt = work.end_doubt;
  session.source = work.by_soc ? SessionSource::inferred : SessionSource::measured;
  session.current_verdict = work.verdict;
  session.findings = work.findings;
  session.soc_start_pct = work.soc_first_pct;
  session.soc_end_pct = work.soc_last_pct;
  session.soc_step_pct = work.soc_step_pct;
  const auto length_ms = static_cast<double>(work.span.length_ms());
  if (length_ms > 0) {
    session.coverage = std::min(1.0, static_cast<double>(work.integral.covered_ms()) / length_ms);
  }
  if (!work.shown) {
    session.pack_kwh = session.pack_ah = MaybeFigure::unknown(work.why);
    session.grid_kwh = session.peak_kw = session.filled_kwh = MaybeFigure::unknown(work.why);
    if (work.silent && work.soc_first_pct && work.soc_last_pct) {
      if (facts.nominal_kwh) {
        session.pack_kwh = MaybeFigure::known(soc_energy_kwh(
            *work.soc_last_pct - *work.soc_first_pct, work.soc_step_pct, *facts.nominal_kwh));
        session.grid_kwh = grid_energy_kwh(session.kind, *session.pack_kwh.figure, 0);
      } else {
        session.pack_kwh =
            MaybeFigure::unknown(work.why + "; nominal_kwh of the van is not in fleet.toml");
      }
    }
    return rows;
  }
  const Figure pack = work.integral.charge_figure_kwh(rules);
  session.pack_kwh = MaybeFigure::known(pack);
  session.pack_ah = MaybeFigure::known(work.integral.charge_figure_ah(rules));
  session.band_hours = work.band_hours;
  session.curve = work.curve;
  Figure all = pack;
  if (work.filled.figure) {
    session.filled_kwh = MaybeFigure::known(scaled(*work.filled.figure, -1));
    all = sum_of(pack, *session.filled_kwh.figure);
  } else {
    session.filled_kwh = work.filled;
  }
  session.kind = charge_kind(work.minute_kw, work.strong_kw, facts.onboard_charger_kw);
  session.grid_kwh = grid_energy_kwh(session.kind, all, length_ms / 3.6e6);
  session.peak_kw = work.peak_kw ? MaybeFigure::known(*work.peak_kw)
                                 : MaybeFigure::unknown("no ten seconds were seen without a gap");
  if (work.integral.discharge_kwh() > 0) {
    Stand given;
    given.start = session.start;
    given.end = session.start;
    given.start_doubt = given.end_doubt = session.start_doubt;
    given.coverage = session.coverage;
    given.discharge_kwh = MaybeFigure::known(work.integral.discharge_figure_kwh(rules));
    given.discharge_ah = MaybeFigure::known(work.integral.discharge_figure_ah(rules));
    given.net_kwh = given.discharge_kwh;
    given.charge_kwh = given.charge_ah = MaybeFigure::known({});
    given.filled_kwh = MaybeFigure::known({});
    rows.given = given;
  }
  return rows;
}

ChargeSession build_unseen_session(const UnseenCharge& charge, const VanFacts& facts) {
  ChargeSession session;
  session.start = charge.start;
  session.end = charge.end;
  session.start_doubt = charge.start_doubt;
  session.end_doubt = charge.end_doubt;
  session.source = SessionSource::inferred;
  session.current_verdict = charge.verdict;
  session.soc_start_pct = charge.soc_before_pct;
  session.soc_end_pct = charge.soc_after_pct;
  session.soc_step_pct = charge.soc_step_pct;
  add_finding(session.findings, Finding::gap);
  add_finding(session.findings, Finding::low_coverage);
  if (!charge.sure) add_finding(session.findings, Finding::charge_unsure);
  const std::string unseen = "nothing was heard of the van while it charged";
  session.pack_ah = session.grid_kwh = session.peak_kw = MaybeFigure::unknown(unseen);
  session.filled_kwh = MaybeFigure::unknown("the state of charge has no gaps to fill");
  if (charge.also_drove) {
    session.pack_kwh = MaybeFigure::unknown(unseen + "; it also drove in that time");
  } else if (facts.nominal_kwh) {
    Figure kwh = soc_energy_kwh(charge.soc_after_pct - charge.soc_before_pct, charge.soc_step_pct,
                                *facts.nominal_kwh);
    kwh.low = std::max(kwh.low, 0.0);  // no charge takes from the pack
    if (!charge.sure) kwh = {0, 0, kwh.high, kwh.high};
    session.pack_kwh = MaybeFigure::known(kwh);
    session.grid_kwh = grid_energy_kwh(session.kind, *session.pack_kwh.figure, 0);
  } else {
    session.pack_kwh =
        MaybeFigure::unknown(unseen + "; nominal_kwh of the van is not in fleet.toml");
  }
  return session;
}

}  // namespace packmile
