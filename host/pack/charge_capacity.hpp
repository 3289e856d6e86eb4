// What one charge says about the capacity: charge put in per share of the state
// of charge.
//
// Input     a charge's trace.
// Output    Ah per 100 points of the van's own scale, with interval, or why not.
// Meaning   the state of charge is the controller's opinion: this is the usable
//           window that it believes in, not what the cells hold.
// Method    least squares of Ah over all SoC edges; where no labelling of the
//           steps fits, the codes at both ends.
// Refuses   sign or coding not proven; less than 98 % seen; under 30 points; the
//           controller changed its mind inside.
#pragma once
#include <cmath>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calendar/zone.hpp"
#include "figure.hpp"
#include "pack/charge_trace.hpp"
#include "pack/line_with_errors.hpp"
#include "pack/soc_steps.hpp"
#include "reading/pack_reading.hpp"

namespace packmile {

struct CapacityRules {
  double least_window_pct = 30;
  double least_coverage = 0.98;
  // 1 sd, share of the pack: by what the controller's count over one charge strays
  // from its own scale. 30 published drives of one van, 8 points and more: 0.07
  // points; other controllers may be worse. A judgment until a van's own charges
  // tell it (count_scatter.hpp).
  double count_u = 0.005;
  // 1 sd, relative: the scale itself against what the cells hold, for a controller
  // that learns. The same in every charge: no scatter shows it. A judgment; a
  // controller that believes in something else altogether is for the witness.
  double scale_u = 0.01;
  // Of the depot: where months begin. Absent: UTC.
  std::optional<Zone> zone{};
  double offset_u_a = 0.3;        // 1 sd, current sensor offset; a judgment
  double current_gain_u = 0.006;  // 1 sd, relative; a judgment

  // 1 sd, relative, of what is wrong by the same factor in every charge.
  [[nodiscard]] double factor_u() const { return std::hypot(current_gain_u, scale_u); }
};

enum class CapacityRefusal : std::uint8_t {
  none,
  current_not_proven,
  not_seen,  // no pack words
  low_coverage,
  no_soc,
  small_window,
  re_anchored,
  no_slope,  // the codes and the charge give no positive slope
};
[[nodiscard]] std::string_view word_of(CapacityRefusal refusal);
// One sentence for people: why, and what would help.
[[nodiscard]] std::string_view text_of(CapacityRefusal refusal);

enum class EdgeMethod : std::uint8_t { edges, readings };

struct ChargeCapacity {
  UtcTime start, end;
  ChargeKind kind = ChargeKind::unknown;
  std::uint32_t segment = 0;
  std::optional<double> ambient_c, odometer_km;
  CapacityRefusal refusal = CapacityRefusal::none;
  MaybeFigure ah;  // of 100 points

  // What it rests on; meaningful when `ah` is known.
  EdgeMethod method = EdgeMethod::edges;
  SocStep step = SocStep::code;
  double soc_step_pct = kSocPctPerCode;  // of the answers
  std::size_t n_edges = 0;
  std::size_t n_edges_left_out = 0;
  double window_low_pct = 0;
  double window_high_pct = 0;
  double slope_u_ah = 0;  // 1 sd of the fit alone, without the controller's error
  double bend = 0;        // slope of the upper half over that of the lower, minus 1
  bool bends = false;     // by more than 1 %: it corrects itself while charging
  double mean_v = 0;
  // For many charges together: share, Ah, their 1 sd, hours.
  PointWithErrors point;
  double edges_u_x = 0;  // of point.u_x what the edges alone leave open
  // Of one that is left out among its like: how far its share lies from theirs.
  double apart_x = 0;

  std::vector<ReAnchor> re_anchors;
};

// With the sensor's offset still in it.
[[nodiscard]] ChargeCapacity measure_charge(const ChargeTrace& trace,
                                            const CapacityRules& rules = {});

// 1 sd of the share of a charge whose count strays by count_u.
[[nodiscard]] double share_u(const ChargeCapacity& charge, double count_u);

// 1 sd of what many charges do not average out.
struct SystematicU {
  double factor = 0;  // relative
  double offset_a = 0;
};
// The figure of a slope that charges of this mean hours per share gave.
[[nodiscard]] Figure capacity_figure(double ah, double u_random_ah, double hours_per_share,
                                     const SystematicU& systematic);

}  // namespace packmile
