// One awake stretch of one van: every sample between two silences, as
// contiguous columns on the UTC clock.
//
// Input     archived sectors in order (van_history.hpp).
// Output    what reading and energy work on; raw words, nothing interpreted.
// Rule      an episode ends where nothing was answered for more than
//           kEpisodeSilence, or after kEpisodeLongest in any case, so that
//           memory does not grow with the card. The longest pause inside one
//           charge session is shorter than that silence.
#pragma once
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "catalogue/catalogue.hpp"
#include "figure.hpp"
#include "finding.hpp"

namespace packmile {

inline constexpr std::chrono::minutes kEpisodeSilence{16};
inline constexpr std::chrono::hours kEpisodeLongest{48};

// One signal: its words and when they came. All vectors have the same length
// and are in time order.
struct SignalSeries {
  std::vector<std::int64_t> time_ms;  // UTC
  std::vector<std::uint32_t> raw;
  // Who answers it: response id, 0 where nobody does; and that ECU's software.
  std::uint32_t ecu = 0;
  std::string calibration_id;
};

// A step of more poll periods than this is a gap.
inline constexpr double kGapPeriods = 2.5;
// What period 0 counts as: back to back polling answers several times a second
// where it can. Common practice, no source.
inline constexpr std::uint32_t kBackToBackMs = 1'000;

inline constexpr double kPackVStep = 1.0 / 64;
inline constexpr double kPackAStep = 0.1;
inline constexpr double kSocStepPct = 100.0 / 255;

// Thresholds for the state of charge are so many codes of 100/255 %: how many
// steps that is, at least, and not fewer than `fewest`. A fine step must not
// make a threshold fire on noise, a coarse one not on a single step.
[[nodiscard]] inline std::uint32_t soc_steps(double step_pct, unsigned standard_codes,
                                             std::uint32_t fewest) {
  const double steps = standard_codes * kSocStepPct / step_pct;
  constexpr double kRounding = 1e-6;
  return std::max(fewest, static_cast<std::uint32_t>(std::ceil(steps - kRounding)));
}
// Full, in steps.
[[nodiscard]] inline std::uint32_t soc_full(double step_pct) {
  return static_cast<std::uint32_t>(std::lround(100 / step_pct));
}

// Pack voltage and current from one response each ($9A), rows whose support
// bits say that both words mean something. Or from owner's signals, in the same
// codes: rows at the moments of the current, the voltage on the straight line
// between its neighbours where it was not answered in the same moment.
struct PackSeries {
  std::uint32_t ecu = 0;  // of the current
  // Of that ECU; with owner's signals followed by what tells their definitions
  // apart: a changed definition is another current.
  std::string calibration_id;
  // Of the words as the van rounds them; never finer than a code.
  double v_step_v = kPackVStep;
  double a_step_a = kPackAStep;
  std::vector<std::int64_t> time_ms;     // UTC
  std::vector<std::uint16_t> v_raw;      // 1/64 V
  std::vector<std::uint16_t> a_raw;      // 0.1 A, coding and sign undecided
  std::vector<std::uint32_t> period_ms;  // poll period in force; 0: back to back
  std::uint64_t rows_not_supported = 0;  // left out: support bits not set
};

// What the van says of itself that its pack holds, by an owner's signal: no
// measurement. Kept where it changes, and once an episode.
struct ReportedSeries {
  std::vector<std::int64_t> time_ms;  // UTC
  std::vector<double> value;          // Ah, or kWh
  bool in_kwh = false;
};

struct Episode {
  PackSeries pack;
  SignalSeries speed;     // 1 km/h
  SignalSeries soc;       // steps of soc_step_pct
  SignalSeries odometer;  // 0.1 km
  SignalSeries ambient;   // degC + 40
  SignalSeries module_v;  // mV
  ReportedSeries reported;
  double soc_step_pct = kSocStepPct;
  // From the first to the last answer of any signal.
  UtcTime start;
  UtcTime end;
  // Of the two; the time between any two of one boot is sure.
  TimeDoubt start_doubt, end_doubt;
  bool clock_guessed = false;
  bool order_conflict = false;  // Boot::order_conflict
  // The episode goes on in the next one without a silence (kEpisodeLongest).
  bool cut = false;
  std::uint32_t log_id = 0;
  std::uint32_t boot_id = 0;  // of the first sample

  void clear();
  [[nodiscard]] bool empty() const;
  // Of a time from `start` to `end`.
  [[nodiscard]] TimeDoubt doubt_of(UtcTime time) const;
};

}  // namespace packmile
