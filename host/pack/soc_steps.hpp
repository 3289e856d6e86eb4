// The state of charge as the van's controller really moves it: its inner step,
// the moments at which it changes, and the jumps that no charge explains.
//
// Input     a charge's SoC as answered, in whole steps (codes: of 100/255 points
//           unless said otherwise), and its running Ah.
// Output    edges: a change of the code is exact to the poll interval, the code
//           itself only to its step.
// Rule      a controller that counts in 1 or 0.5 % skips codes: then only codes
//           of its own steps are ever seen, and an edge is a step's, not a
//           code's.
#pragma once
#include <cstdint>
#include <string_view>
#include <vector>

#include "pack/charge_trace.hpp"

namespace packmile {

// `code`: the answers' own step.
enum class SocStep : std::uint8_t {
  code,
  half_percent_cut,
  half_percent_rounded,
  percent_cut,
  percent_rounded
};
// Points of the step: that of the answers, 0.5 or 1.
[[nodiscard]] double step_pct(SocStep step, double answered_pct = kSocPctPerCode);
// Whether the controller can show this code at all.
[[nodiscard]] bool can_show(SocStep step, std::uint32_t code, double answered_pct = kSocPctPerCode);
// Number of steps below the shown code.
[[nodiscard]] double steps_at(SocStep step, std::uint32_t code,
                              double answered_pct = kSocPctPerCode);
// The steps that all codes fit, coarsest first; `code` is always the last.
[[nodiscard]] std::vector<SocStep> steps_that_fit(const std::vector<std::uint32_t>& codes,
                                                  double answered_pct = kSocPctPerCode);

// One rise of the code to a value that this charge had not reached before.
struct SocEdge {
  double soc = 0;   // 0..1, up to a constant that all edges share
  double ah = 0;    // at the middle of the two polls
  double u_ah = 0;  // 1 sd: where between the polls it was
  std::int64_t time_ms = 0;
};
struct SocEdges {
  std::vector<SocEdge> edges;
  // Left out: the first after the current turned (a display holds still until
  // the charge has come back), those into 100 % or out of 0 (clamped), those
  // between polls that lie far apart or with a gap between them.
  std::size_t n_left_out = 0;
};
[[nodiscard]] SocEdges find_soc_edges(const ChargeTrace& trace, SocStep step);

// The controller changed its mind: SoC moved without the charge for it.
enum class ReAnchorPlace : std::uint8_t { charging, awake, asleep };
[[nodiscard]] std::string_view word_of(ReAnchorPlace place);
struct ReAnchor {
  UtcTime start, end;
  ReAnchorPlace place = ReAnchorPlace::charging;
  double soc_before_pct = 0;
  double soc_after_pct = 0;
  double ah = 0;           // put in meanwhile; negative: taken out
  double expected_ah = 0;  // what the change would have needed
};

// Codes that changed in one stretch; ah_at_code: the running charge at each.
// ah_per_point > 0. Stretches of up to five minutes with a change of more than
// 0.8 points (while driving, where the display lags, 3.1; or one step of the
// controller) and less than half of its charge.
[[nodiscard]] std::vector<ReAnchor> find_re_anchors(const SignalSeries& soc, double answered_pct,
                                                    const std::vector<double>& ah_at_code,
                                                    double ah_per_point, SocStep step,
                                                    ReAnchorPlace place);

}  // namespace packmile
