// One charge session's row: kind, energy into the pack, energy from the grid.
//
// Method    AC: grid = (pack + 0.2 kW * h) / 0.925, both with rectangular
//           widths; DC at the post's output: (pack + 0.3 kW * h) / 0.9925.
// Rule      dc above 1.1 times the on-board charger's rating (above 25 kW for
//           30 s where no rating is known); ac at or below the rating with a
//           steady plateau; else unknown, and then no grid energy.
#pragma once
#include <optional>
#include <vector>

#include "energy/pack_energy.hpp"
#include "energy/segments.hpp"
#include "energy/van_account.hpp"

namespace packmile {

// A session still being summed: its episode may have been cut, and then it goes
// on in the next one.
struct SessionWork {
  Span span;
  TimeDoubt start_doubt, end_doubt;
  bool by_soc = false;
  bool touches_end = false;  // of its episode
  CurrentVerdict verdict = CurrentVerdict::too_little;
  bool shown = false;
  std::string why;
  bool silent = false;  // no pack words at all
  PowerIntegral integral;
  MaybeFigure filled;             // positive = discharge
  std::vector<double> minute_kw;  // 60 s means into the pack, in time order
  std::optional<Figure> peak_kw;  // greatest 10 s mean into the pack
  double strong_kw = 0;           // greatest 30 s mean into the pack
  ChargeBandHours band_hours{};
  std::vector<CurvePoint> curve;
  std::optional<double> soc_first_pct, soc_last_pct;
  double soc_step_pct = kSocPctPerCode;
  std::vector<Finding> findings;
};

// An episode with its segments; sessions: of the segments of that kind, in order.
struct PlannedEpisode {
  const SegmentInput& input;
  const EpisodePlan& plan;
  const std::vector<SessionWork>& sessions;
};

[[nodiscard]] SessionWork sum_session(const SegmentInput& input, const Segment& segment);
// The second part of a session that was cut in two.
void join_sessions(SessionWork& first, const SessionWork& second);

struct SessionRows {
  ChargeSession session;
  std::optional<Stand> given;  // energy that the pack gave during its pauses
};
[[nodiscard]] SessionRows finish_session(const SessionWork& work, const VanFacts& facts,
                                         const EnergyRules& rules);

// A charge that nobody saw: the state of charge rose across a silence. Not sure: by no
// more than what a controller may put right at rest; then nothing is the likeliest, up
// to what the rise would be.
struct UnseenCharge {
  UtcTime start, end;
  TimeDoubt start_doubt, end_doubt;
  double soc_before_pct = 0;
  double soc_after_pct = 0;
  double soc_step_pct = kSocPctPerCode;
  bool also_drove = false;
  bool sure = true;
  CurrentVerdict verdict = CurrentVerdict::too_little;
};
[[nodiscard]] ChargeSession build_unseen_session(const UnseenCharge& charge, const VanFacts& facts);

// minute_kw: 60 s means into the pack. strong_kw: greatest 30 s mean.
[[nodiscard]] ChargeKind charge_kind(const std::vector<double>& minute_kw, double strong_kw,
                                     std::optional<double> onboard_charger_kw);
// What is lost between the socket (ac) or the post (dc) and the pack:
// grid = (pack + idle_kw * hours) / efficiency, both with rectangular widths.
struct ChargerLoss {
  double efficiency;
  double efficiency_half_width;
  double idle_kw;
  double idle_half_width;
};
[[nodiscard]] std::optional<ChargerLoss> charger_loss_of(ChargeKind kind);  // nullopt: unknown
// Energy drawn from the socket (ac) or given by the post (dc); unknown kind:
// no figure.
[[nodiscard]] MaybeFigure grid_energy_kwh(ChargeKind kind, const Figure& pack_kwh, double hours);

}  // namespace packmile
