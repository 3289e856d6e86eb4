#include "pack/soc_steps.hpp"

#include <algorithm>
#include <cmath>

#include "pack/robust.hpp"

namespace packmile {
namespace {

// Codes from here on are a display at its upper end.
constexpr double kFullPct = 100 - 1e-9;
// Polls further apart than this many usual steps locate no edge.
constexpr double kFarPolls = 3;
// A correction that is let out slowly is one event up to this long. Common
// practice, no source.
constexpr std::int64_t kReAnchorMs = 300'000;
constexpr std::int64_t kLeastPollMs = 1'000;
constexpr double kReAnchorPct = 2 * kSocPctPerCode;
// On measured drives that are sound a controller's filter lags by up to five codes;
// eight are three points of charge.
constexpr double kReAnchorAwakePct = 8 * kSocPctPerCode;
constexpr double kReAnchorShare = 0.5;

bool rounded(SocStep step) {
  return step == SocStep::half_percent_rounded || step == SocStep::percent_rounded;
}

std::uint32_t code_of(SocStep step, double steps, double answered_pct) {
  const double exact = steps * step_pct(step, answered_pct) / answered_pct;
  // Whole numbers come out whole only up to the rounding of a double.
  return static_cast<std::uint32_t>(rounded(step) ? std::floor(exact + 0.5 + 1e-9)
                                                  : std::floor(exact + 1e-9));
}

}  // namespace

double step_pct(SocStep step, double answered_pct) {
  switch (step) {
    case SocStep::code:
      return answered_pct;
    case SocStep::half_percent_cut:
    case SocStep::half_percent_rounded:
      return 0.5;
    case SocStep::percent_cut:
    case SocStep::percent_rounded:
      return 1;
  }
  return answered_pct;
}

double steps_at(SocStep step, std::uint32_t code, double answered_pct) {
  if (step == SocStep::code) return code;
  const double exact = static_cast<double>(code) * answered_pct / step_pct(step, answered_pct);
  return rounded(step) ? std::floor(exact + 0.5) : std::ceil(exact - 1e-9);
}

bool can_show(SocStep step, std::uint32_t code, double answered_pct) {
  return code * answered_pct <= 100 + 1e-9 &&
         code_of(step, steps_at(step, code, answered_pct), answered_pct) == code;
}

std::vector<SocStep> steps_that_fit(const std::vector<std::uint32_t>& codes, double answered_pct) {
  std::vector<SocStep> fitting;
  for (const SocStep step :
       {SocStep::percent_cut, SocStep::percent_rounded, SocStep::half_percent_cut,
        SocStep::half_percent_rounded, SocStep::code}) {
    // Answers coarser than the step cannot show it.
    const bool finer = step_pct(step, answered_pct) < answered_pct;
    if (step == SocStep::code || (!finer && std::all_of(codes.begin(), codes.end(), [&](auto c) {
          return can_show(step, c, answered_pct);
        }))) {
      fitting.push_back(step);
    }
  }
  return fitting;
}

SocEdges find_soc_edges(const ChargeTrace& trace, SocStep step) {
  SocEdges result;
  const SignalSeries& soc = trace.soc;
  const double answered_pct = trace.soc_step_pct;
  if (soc.raw.size() < 2 || trace.time_ms.empty()) return result;
  std::vector<double> polls_ms;
  for (std::size_t i = 1; i < soc.time_ms.size(); ++i) {
    polls_ms.push_back(static_cast<double>(soc.time_ms[i] - soc.time_ms[i - 1]));
  }
  const double far_ms = kFarPolls * median_of(std::move(polls_ms));
  std::vector<std::int64_t> gap_ends_ms;
  for (std::size_t i = 1; i < trace.time_ms.size(); ++i) {
    if (trace.after_gap[i]) gap_ends_ms.push_back(trace.time_ms[i]);
  }
  const auto has_gap = [&](std::int64_t from_ms, std::int64_t to_ms) {
    const auto it = std::upper_bound(gap_ends_ms.begin(), gap_ends_ms.end(), from_ms);
    if (it == gap_ends_ms.end()) return false;
    const auto row = std::lower_bound(trace.time_ms.begin(), trace.time_ms.end(), *it);
    return *(row - 1) < to_ms;
  };

  std::uint32_t reached = soc.raw.front();
  bool turned = true;
  for (std::size_t i = 1; i < soc.raw.size(); ++i) {
    const std::uint32_t code = soc.raw[i];
    // A code that chatters while the charge goes on is no turn.
    turned = turned || trace.ah_at(soc.time_ms[i]) < trace.ah_at(soc.time_ms[i - 1]);
    if (code <= reached) continue;
    const std::uint32_t from = reached;
    const bool fresh = soc.raw[i - 1] == reached;
    reached = code;
    const std::int64_t before_ms = soc.time_ms[i - 1];
    const std::int64_t after_ms = soc.time_ms[i];
    const bool seen = before_ms >= trace.time_ms.front() && after_ms <= trace.time_ms.back();
    const bool clamped = code * answered_pct >= kFullPct || from == 0;
    const bool first = turned;
    turned = false;
    if (!fresh || !seen || clamped || first || static_cast<double>(after_ms - before_ms) > far_ms ||
        has_gap(before_ms, after_ms)) {
      ++result.n_left_out;
      continue;
    }
    SocEdge edge;
    edge.time_ms = before_ms + (after_ms - before_ms) / 2;
    edge.ah = trace.ah_at(edge.time_ms);
    edge.u_ah = std::abs(trace.ah_at(after_ms) - trace.ah_at(before_ms)) / std::sqrt(12.0);
    // Several steps between two polls: the middle of their borders.
    edge.soc = (steps_at(step, from, answered_pct) + 1 + steps_at(step, code, answered_pct)) / 2 *
               step_pct(step, answered_pct) / 100;
    result.edges.push_back(edge);
  }
  return result;
}

std::string_view word_of(ReAnchorPlace place) {
  switch (place) {
    case ReAnchorPlace::charging:
      return "charging";
    case ReAnchorPlace::awake:
      return "awake";
    case ReAnchorPlace::asleep:
      return "asleep";
  }
  return "";
}

std::vector<ReAnchor> find_re_anchors(const SignalSeries& soc, double answered_pct,
                                      const std::vector<double>& ah_at_code, double ah_per_point,
                                      SocStep step, ReAnchorPlace place) {
  std::vector<ReAnchor> events;
  if (!(ah_per_point > 0) || ah_at_code.size() != soc.raw.size()) return events;
  // One step of a coarse controller is several answered ones and no event.
  const double one_step_pct = step_pct(step, answered_pct);
  const double unexplained_pct = place == ReAnchorPlace::awake ? kReAnchorAwakePct : kReAnchorPct;
  const double most_pct =
      std::max(unexplained_pct, std::ceil(one_step_pct / answered_pct - 1e-9) * answered_pct);
  // A code a second is enough, and keeps the windows short on any input.
  std::vector<std::size_t> kept;
  for (std::size_t i = 0; i < soc.raw.size(); ++i) {
    if (kept.empty() || soc.time_ms[i] - soc.time_ms[kept.back()] >= kLeastPollMs) {
      kept.push_back(i);
    }
  }
  const auto time_ms = [&](std::size_t i) { return soc.time_ms[kept[i]]; };
  const auto ah_at = [&](std::size_t i) { return ah_at_code[kept[i]]; };
  const auto moved = [&](std::size_t from, std::size_t to) {
    return (static_cast<double>(soc.raw[kept[to]]) - static_cast<double>(soc.raw[kept[from]])) *
           answered_pct;
  };
  const auto is_event = [&](std::size_t from, std::size_t to) {
    const double points = moved(from, to);
    const double explained = (ah_at(to) - ah_at(from)) / ah_per_point;
    if (points == 0 || explained / points >= kReAnchorShare) return false;
    if (to == from + 1) return std::abs(points) > most_pct + 1e-9;
    // Over several polls a border may be crossed at either end.
    return std::abs(points - explained) > unexplained_pct + one_step_pct;
  };
  // An event begins before a change of the code and ends with one.
  std::vector<std::size_t> changes;
  for (std::size_t i = 1; i < kept.size(); ++i) {
    if (soc.raw[kept[i]] != soc.raw[kept[i - 1]]) changes.push_back(i);
  }
  std::size_t done = 0;  // events do not overlap
  for (std::size_t last = 0; last < changes.size(); ++last) {
    const std::size_t to = changes[last];
    for (std::size_t first = last + 1; first-- > 0;) {
      const std::size_t from = changes[first] - 1;
      if (from < done) break;
      if (time_ms(to) - time_ms(from) > kReAnchorMs && from + 1 != to) break;
      if (!is_event(from, to)) continue;
      // As long as the code goes on the same way without its charge.
      std::size_t end = to;
      while (end + 1 < kept.size() && moved(end, end + 1) * moved(from, end) > 0 &&
             (ah_at(end + 1) - ah_at(end)) / (moved(end, end + 1) * ah_per_point) <
                 kReAnchorShare) {
        ++end;
      }
      ReAnchor event;
      event.start = UtcTime{std::chrono::milliseconds{time_ms(from)}};
      event.end = UtcTime{std::chrono::milliseconds{time_ms(end)}};
      event.place = place;
      event.soc_before_pct = soc.raw[kept[from]] * answered_pct;
      event.soc_after_pct = soc.raw[kept[end]] * answered_pct;
      event.ah = ah_at(end) - ah_at(from);
      event.expected_ah = moved(from, end) * ah_per_point;
      events.push_back(event);
      done = end;
      while (last + 1 < changes.size() && changes[last + 1] <= end) ++last;
      break;
    }
  }
  return events;
}

}  // namespace packmile
