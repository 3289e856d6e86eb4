// One charge as plain columns: what the capacity methods work on.
//
// Input     an episode's session segment with its pack rows, or rows pushed one
//           by one.
// Output    current, voltage and running charge at every row; SoC codes with
//           their times.
// Sign      charge_a and ah are positive while the pack is filled (pack_a turned).
// Gap       a step longer than 2.5 poll periods is bridged in `ah` by a straight
//           line and counted in bridged_ah, which widens what rests on it.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "energy/pack_energy.hpp"
#include "energy/segments.hpp"
#include "energy/van_account.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// By ambient temperature at the start; capacities of different strata are never
// mixed.
enum class TemperatureStratum : std::uint8_t { unknown, below_5, from_5, from_15, above_25 };
[[nodiscard]] TemperatureStratum stratum_of(std::optional<double> ambient_c);

// What the account has taken off the current for the sensor's offset. The methods
// here find the offset themselves, from what was measured: it is put back.
[[nodiscard]] double removed_offset_a(const PackReading* reading, const PackRows& rows);

struct ChargeTrace {
  UtcTime start, end;
  ChargeKind kind = ChargeKind::unknown;
  CurrentVerdict verdict = CurrentVerdict::too_little;
  // Where the reading changes (another ECU, calibration or coding) a new one
  // begins; capacities of two segments are never joined.
  std::uint32_t segment = 0;
  std::optional<double> ambient_c;    // at the start
  std::optional<double> odometer_km;  // at the start
  double coverage = 0;                // 0..1

  // Columns of equal length in time order.
  std::vector<std::int64_t> time_ms;
  std::vector<double> charge_a;
  std::vector<double> pack_v;
  std::vector<double> ah;       // since the first row
  std::vector<bool> after_gap;  // the step to this row is a gap
  double bridged_ah = 0;        // share of ah that flowed in gaps
  double gap_h = 0;
  SignalSeries soc;  // steps of soc_step_pct
  // Of the words as the van rounds them.
  double soc_step_pct = kSocPctPerCode;
  double a_step_a = kAmpPerCode;

  // The next row; gap: nothing was seen between it and the one before.
  void push(std::int64_t t_ms, double charging_a, double volt, bool gap = false);
  // Sets start, end and coverage from the rows.
  void close();
  // ah at a moment, straight between rows; held before the first and after the
  // last. No rows: 0.
  [[nodiscard]] double ah_at(std::int64_t t_ms) const;
};

// The charge of a session segment. kind: of the session's row.
[[nodiscard]] ChargeTrace trace_charge(const SegmentInput& input, const Segment& segment,
                                       ChargeKind kind, std::uint32_t van_segment = 0);
// The second part of a charge that an episode's end cut in two.
void join_traces(ChargeTrace& first, const ChargeTrace& second);

}  // namespace packmile
