#include "pack/charge_capacity.hpp"

#include <algorithm>
#include <cmath>

#include "pack/robust.hpp"

namespace packmile {
namespace {

// Of one charge's Ah: sampling and noise of the current; a judgment.
constexpr double kSamplingUAh = 0.05;
// A current that stands still is not dithered: +-half a step, rectangular.
const double kStillUSteps = 1 / std::sqrt(12.0);
constexpr std::int64_t kStillMs = 60'000;
// What flowed in a gap is known to a tenth.
constexpr double kBridgedU = 0.1;
constexpr std::size_t kLeastEdges = 12;
// The labelling of the steps is right where the edges lie this near to their
// neighbours' line, in steps.
constexpr double kLabelShare = 0.25;
// Edges at either end that leave the line of the others by half a step are a
// display at its stop; at most this share of all on each side.
constexpr double kStopSteps = 0.5;
constexpr double kStopShare = 0.15;
constexpr double kBend = 0.01;
constexpr double kBendSds = 3;
constexpr double kBendWidens = 2;

double still_hours(const ChargeTrace& trace) {
  // 1e-6: a code is 0.1 A only to rounding.
  const double still_a = trace.a_step_a + 1e-6;
  std::int64_t sum_ms = 0;
  std::size_t from = 0;
  double low_a = trace.charge_a.front();
  double high_a = low_a;
  for (std::size_t i = 1; i <= trace.time_ms.size(); ++i) {
    if (i < trace.time_ms.size()) {
      low_a = std::min(low_a, trace.charge_a[i]);
      high_a = std::max(high_a, trace.charge_a[i]);
      if (high_a - low_a <= still_a) continue;
      low_a = high_a = trace.charge_a[i];
    }
    const std::int64_t run_ms = trace.time_ms[i - 1] - trace.time_ms[from];
    if (run_ms >= kStillMs) sum_ms += run_ms;
    from = i;
  }
  return static_cast<double>(sum_ms) / 3.6e6;
}

double mean_volt(const ChargeTrace& trace) {
  double volt_ms = 0;
  double ms = 0;
  for (std::size_t i = 1; i < trace.time_ms.size(); ++i) {
    const auto step = static_cast<double>(trace.time_ms[i] - trace.time_ms[i - 1]);
    volt_ms += step * (trace.pack_v[i] + trace.pack_v[i - 1]) / 2;
    ms += step;
  }
  return ms > 0 ? volt_ms / ms : 0;
}

struct EdgeFit {
  LineFit line;  // Ah over share
  std::vector<SocEdge> edges;
  std::size_t n_left_out = 0;
  double label_steps = 0;     // sd of an edge beside its neighbours
  double residual_steps = 0;  // sd about the line
};

std::optional<LineFit> line_through(const std::vector<SocEdge>& edges, std::size_t from,
                                    std::size_t past) {
  std::vector<double> soc, ah, weights;
  double usual = 0;
  for (std::size_t i = from; i < past; ++i) usual += edges[i].u_ah;
  usual /= static_cast<double>(past - from);
  for (std::size_t i = from; i < past; ++i) {
    soc.push_back(edges[i].soc);
    ah.push_back(edges[i].ah);
    // Never far surer than the others: the controller has a clock of its own.
    const double u = std::max({edges[i].u_ah, usual / 2, 1e-6});
    weights.push_back(usual > 0 ? usual * usual / (u * u) : 1);
  }
  return fit_line(soc, ah, weights);
}

// A wrong labelling shows from one edge to the next; a controller that corrects
// itself bends the whole line and does not. Second differences see the first alone.
double neighbour_sd(const std::vector<SocEdge>& edges, const LineFit& line) {
  double squares = 0;
  const auto residual = [&](std::size_t i) { return edges[i].ah - line.at(edges[i].soc); };
  for (std::size_t i = 1; i + 1 < edges.size(); ++i) {
    const double d = residual(i + 1) - 2 * residual(i) + residual(i - 1);
    squares += d * d / 6;  // 1 + 4 + 1
  }
  return std::sqrt(squares / static_cast<double>(edges.size() - 2));
}

std::optional<EdgeFit> fit_edges(const ChargeTrace& trace, SocStep step) {
  SocEdges found = find_soc_edges(trace, step);
  std::vector<SocEdge>& edges = found.edges;
  if (edges.size() < kLeastEdges) return std::nullopt;
  const auto most = static_cast<std::size_t>(kStopShare * static_cast<double>(edges.size()));
  std::size_t from = 0;
  std::size_t past = edges.size();
  const auto inner = line_through(edges, most, edges.size() - most);
  if (!inner || !(inner->slope > 0)) return std::nullopt;
  const double stop = kStopSteps * step_pct(step, trace.soc_step_pct) / 100 * inner->slope;
  // A bend of the whole charge is no stop: only edges that leave abruptly.
  const auto leaves = [&](std::size_t at, std::size_t inward) {
    const double step_ah = edges[at].ah - edges[inward].ah;
    const double step_soc = edges[at].soc - edges[inward].soc;
    return std::abs(step_ah - inner->slope * step_soc) > stop;
  };
  for (std::size_t i = most; i-- > 0;) {
    if (leaves(i, i + 1)) {
      from = i + 1;
      break;
    }
  }
  for (std::size_t i = edges.size() - most; i < edges.size(); ++i) {
    if (leaves(i, i - 1)) {
      past = i;
      break;
    }
  }
  EdgeFit fit;
  fit.n_left_out = found.n_left_out + from + (edges.size() - past);
  fit.edges.assign(edges.begin() + static_cast<std::ptrdiff_t>(from),
                   edges.begin() + static_cast<std::ptrdiff_t>(past));
  if (fit.edges.size() < kLeastEdges) return std::nullopt;
  const auto line = line_through(fit.edges, 0, fit.edges.size());
  if (!line || !(line->slope > 0)) return std::nullopt;
  fit.line = *line;
  const double step_ah = line->slope * step_pct(step, trace.soc_step_pct) / 100;
  fit.residual_steps = line->residual_sd / step_ah;
  fit.label_steps = neighbour_sd(fit.edges, *line) / step_ah;
  return fit;
}

CapacityRefusal refusal_of(const ChargeTrace& trace, const CapacityRules& rules) {
  if (trace.verdict != CurrentVerdict::agreed) return CapacityRefusal::current_not_proven;
  if (trace.time_ms.size() < 2) return CapacityRefusal::not_seen;
  if (trace.coverage < rules.least_coverage) return CapacityRefusal::low_coverage;
  if (trace.soc.raw.size() < 2) return CapacityRefusal::no_soc;
  const auto [low, high] = std::minmax_element(trace.soc.raw.begin(), trace.soc.raw.end());
  if (static_cast<double>(*high - *low) * trace.soc_step_pct < rules.least_window_pct) {
    return CapacityRefusal::small_window;
  }
  return CapacityRefusal::none;
}

}  // namespace

std::string_view word_of(CapacityRefusal refusal) {
  switch (refusal) {
    case CapacityRefusal::none:
      return "none";
    case CapacityRefusal::current_not_proven:
      return "current_not_proven";
    case CapacityRefusal::not_seen:
      return "not_seen";
    case CapacityRefusal::low_coverage:
      return "low_coverage";
    case CapacityRefusal::no_soc:
      return "no_soc";
    case CapacityRefusal::small_window:
      return "small_window";
    case CapacityRefusal::re_anchored:
      return "re_anchored";
    case CapacityRefusal::no_slope:
      return "no_slope";
  }
  return "";
}

std::string_view text_of(CapacityRefusal refusal) {
  switch (refusal) {
    case CapacityRefusal::none:
      return "";
    case CapacityRefusal::current_not_proven:
      return "what the pack-current word means is not proven for this van";
    case CapacityRefusal::not_seen:
      return "pack voltage and current were not answered while it charged";
    case CapacityRefusal::low_coverage:
      return "less than 98 % of the charge was seen";
    case CapacityRefusal::no_soc:
      return "the state of charge was not answered while it charged";
    case CapacityRefusal::small_window:
      return "the charge covers less than 30 points; a longer one from a lower state of charge "
             "will do";
    case CapacityRefusal::re_anchored:
      return "the controller moved its state of charge without the charge for it";
    case CapacityRefusal::no_slope:
      return "state of charge and charge do not rise together";
  }
  return "";
}

double share_u(const ChargeCapacity& charge, double count_u) {
  const double u = std::hypot(charge.edges_u_x, count_u);
  return charge.bends ? kBendWidens * u : u;
}

Figure capacity_figure(double ah, double u_random_ah, double hours_per_share,
                       const SystematicU& systematic) {
  return figure_of(ah, u_random_ah,
                   std::hypot(systematic.factor * ah, systematic.offset_a * hours_per_share));
}

ChargeCapacity measure_charge(const ChargeTrace& trace, const CapacityRules& rules) {
  ChargeCapacity result;
  result.start = trace.start;
  result.end = trace.end;
  result.kind = trace.kind;
  result.segment = trace.segment;
  result.ambient_c = trace.ambient_c;
  result.odometer_km = trace.odometer_km;
  result.soc_step_pct = trace.soc_step_pct;
  const auto refuse = [&](CapacityRefusal refusal) {
    result.refusal = refusal;
    result.ah = MaybeFigure::unknown(std::string(text_of(refusal)));
    return result;
  };
  const SignalSeries& soc = trace.soc;
  const double answered_pct = trace.soc_step_pct;
  if (trace.verdict != CurrentVerdict::agreed || trace.time_ms.size() < 2 || soc.raw.size() < 2) {
    return refuse(refusal_of(trace, rules));
  }
  result.mean_v = mean_volt(trace);

  const std::vector<SocStep> steps = steps_that_fit(soc.raw, answered_pct);
  std::vector<double> ah_at_code;
  for (const std::int64_t t_ms : soc.time_ms) ah_at_code.push_back(trace.ah_at(t_ms));
  const auto [low, high] = std::minmax_element(soc.raw.begin(), soc.raw.end());
  const double codes = static_cast<double>(*high - *low);
  const double put_in_ah = ah_at_code.back() - ah_at_code.front();
  if (codes > 0 && put_in_ah > 0) {
    result.re_anchors =
        find_re_anchors(soc, answered_pct, ah_at_code, put_in_ah / (codes * answered_pct),
                        steps.front(), ReAnchorPlace::charging);
  }
  const CapacityRefusal refusal = refusal_of(trace, rules);
  if (refusal != CapacityRefusal::none) return refuse(refusal);
  if (!result.re_anchors.empty()) return refuse(CapacityRefusal::re_anchored);

  std::optional<EdgeFit> fit;
  for (const SocStep step : steps) {
    auto tried = fit_edges(trace, step);
    if (!tried || tried->label_steps >= kLabelShare) continue;
    // Both labellings of a coarse step may fit a short charge: the nearer one.
    const bool coarser = fit && step_pct(step, answered_pct) < step_pct(result.step, answered_pct);
    if (coarser) break;
    if (fit && fit->label_steps <= tried->label_steps) continue;
    fit = std::move(tried);
    result.step = step;
  }
  PointWithErrors& point = result.point;
  double slope_ah = 0;
  if (fit) {
    const std::vector<SocEdge>& edges = fit->edges;
    result.n_edges = edges.size();
    result.n_edges_left_out = fit->n_left_out;
    result.window_low_pct = edges.front().soc * 100;
    result.window_high_pct = edges.back().soc * 100;
    point.x = edges.back().soc - edges.front().soc;
    point.t = static_cast<double>(edges.back().time_ms - edges.front().time_ms) / 3.6e6;
    slope_ah = fit->line.slope;
    point.y = slope_ah * point.x;
    result.slope_u_ah = fit->line.u_slope;
    const std::size_t half = edges.size() / 2;
    const auto lower = line_through(edges, 0, half);
    const auto upper = line_through(edges, half, edges.size());
    if (lower && upper && lower->slope > 0) {
      result.bend = upper->slope / lower->slope - 1;
      const double u = std::hypot(lower->u_slope, upper->u_slope) / lower->slope;
      result.bends = std::abs(result.bend) > kBend && std::abs(result.bend) > kBendSds * u;
    }
    // Wandering by more than a step is a correction too, if not an even one.
    result.bends = result.bends || fit->residual_steps > 1;
  } else {
    result.method = EdgeMethod::readings;
    result.step = SocStep::code;
    const auto from = static_cast<std::size_t>(low - soc.raw.begin());
    const auto to = static_cast<std::size_t>(high - soc.raw.begin());
    if (to <= from) return refuse(CapacityRefusal::no_slope);
    result.window_low_pct = *low * trace.soc_step_pct;
    result.window_high_pct = *high * trace.soc_step_pct;
    point.x = codes * answered_pct / 100;
    point.t = static_cast<double>(soc.time_ms[to] - soc.time_ms[from]) / 3.6e6;
    point.y = ah_at_code[to] - ah_at_code[from];
    slope_ah = point.y / point.x;
    result.slope_u_ah = slope_ah * std::sqrt(2.0 / 12) / codes;
  }
  if (!(point.x > 0) || !(slope_ah > 0)) return refuse(CapacityRefusal::no_slope);
  const double ah = point.y / point.x;
  point.u_y = std::hypot(kSamplingUAh, kStillUSteps * trace.a_step_a * still_hours(trace),
                         kBridgedU * trace.bridged_ah);
  if (result.bends) point.u_y *= kBendWidens;
  result.edges_u_x = result.slope_u_ah / slope_ah * point.x;
  point.u_x = share_u(result, rules.count_u);
  result.ah =
      MaybeFigure::known(capacity_figure(ah, std::hypot(point.u_y, ah * point.u_x) / point.x,
                                         point.t / point.x, {rules.factor_u(), rules.offset_u_a}));
  return result;
}

}  // namespace packmile
