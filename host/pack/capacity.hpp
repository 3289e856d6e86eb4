// The capacity of one van by every method, from its charges, rests and steps.
//
// Input     what pack_watch.hpp gathered, and what else is known.
// Output    rows, each with its method, interval and what was left out; one
//           value a month for the fade.
// Method    charges of one month (five or more, of one temperature stratum) by
//           line_with_errors.hpp; fewer are listed one by one. How sure one charge
//           is comes from its like (count_scatter.hpp); what all of them share (the
//           sensor's gain and offset, the controller's scale) averages out in none.
// Scope     charge, month, latest (the last 91 days of the last segment; always there
//           for the controller's scale, if only to say why it tells nothing), and
//           re_anchor: a change of mind, which is no capacity.
#pragma once
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "figure.hpp"
#include "finding.hpp"
#include "pack/charge_capacity.hpp"
#include "pack/expectation.hpp"
#include "pack/resistance.hpp"
#include "pack/rest.hpp"
#include "pack/voltage_window.hpp"

namespace packmile {

enum class CapacityMethod : std::uint8_t {
  controller_edges,  // the controller's own scale
  voltage_window,    // Ah between two voltages: no capacity, a witness
  rest_to_rest,      // the controller's scale between rests
  reported,          // what the van says of itself
  soc_nominal        // the owner's figure, where nothing was measured
};
[[nodiscard]] std::string_view word_of(CapacityMethod method);
enum class CapacityScope : std::uint8_t { charge, month, latest, re_anchor };
[[nodiscard]] std::string_view word_of(CapacityScope scope);
[[nodiscard]] std::string_view word_of(TemperatureStratum stratum);

struct Rejected {
  std::string reason;  // a word
  std::size_t count = 0;
};

struct CapacityRow {
  // Of the charge, the month's first moment, or the last charge; absent: none.
  std::optional<UtcTime> date;
  CapacityMethod method = CapacityMethod::controller_edges;
  CapacityScope scope = CapacityScope::charge;
  MaybeFigure ah, kwh;
  std::optional<double> window_low_pct, window_high_pct;  // as the van shows it
  double soc_step_pct = kSocPctPerCode;                   // what the two are steps of
  std::optional<double> window_low_v, window_high_v;      // voltage_window
  std::optional<double> temp_c;                           // ambient, mean
  TemperatureStratum stratum = TemperatureStratum::unknown;
  ChargeKind charge_kind = ChargeKind::unknown;  // unknown also for a mixture
  std::size_t n_used = 0;
  std::size_t n_rejected = 0;
  std::vector<Rejected> rejected;
  std::uint32_t segment = 0;
  MaybeFigure offset_a;  // of the sensor, positive as pack_a
  MaybeFigure resistance_mohm;
  // Against the first three months, per cent; of latest rows. No change of
  // capacity where the method is none.
  MaybeFigure change_pct;
  bool relative_only = true;  // no meter has shown the gain of the sensor
  LineVerdict against_expectation = LineVerdict::cannot_tell;
  std::string reason;  // what the figure is and is not
  std::vector<Finding> findings;
};

// One month for the fade, all of one segment.
struct MonthCapacity {
  int month = 0;
  std::uint32_t segment = 0;
  double ah = 0;
  double u_random_ah = 0;  // 1 sd
  // The same factor in every month: the sensor's gain, the controller's scale.
  double u_gain_ah = 0;
  double u_offset_ah = 0;
  std::optional<double> odometer_km;
  std::size_t n_charges = 0;
};

// The last value of a month that the van gave of itself.
struct ReportedCapacity {
  UtcTime at;
  double value = 0;  // as the van sends it, Ah or kWh
  bool in_kwh = false;
  std::uint32_t segment = 0;
};

struct CapacityInput {
  // Measured without an offset; in time order.
  std::span<const ChargeCapacity> charges;
  std::span<const VoltageProfile> profiles;
  const RestObservations* rests = nullptr;
  std::span<const MonthlyResistance> resistances;
  std::span<const ReportedCapacity> reported;  // in time order
  std::span<const ReAnchor> re_anchors;        // in time order
  std::optional<double> nominal_ah;
  // By segment, as the reading tells them; absent: not told.
  std::map<std::uint32_t, SensorOffset> offsets;
  // By segment, where a meter or receipts told it: out of what was measured, and no
  // segment's is another one's.
  std::map<std::uint32_t, SensorGain> gains;
  CapacityRules rules;
};

struct CapacityFindings {
  std::vector<CapacityRow> rows;      // by method, scope and date
  std::vector<MonthCapacity> months;  // of the segment that has most
  // Months of more than one stratum are joined only with this, per kelvin.
  std::optional<Figure> temperature_share_per_k;
  std::vector<WindowSeries> windows;        // of all segments, fullest first
  std::optional<Figure> edges_ah, rest_ah;  // latest, of the last segment
  std::uint32_t last_segment = 0;
};
[[nodiscard]] CapacityFindings combine_capacity(const CapacityInput& input);

}  // namespace packmile
