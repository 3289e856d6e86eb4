#include "pack/charge_trace.hpp"

#include <algorithm>

#include "energy/slow_signals.hpp"

namespace packmile {
namespace {

// An ambient temperature or odometer this old still describes the start of a
// charge. Common practice, no source.
constexpr std::int64_t kStillHoldsMs = 1'800'000;

std::optional<SlowSample> near_start(const SignalSeries& series, const Span& span) {
  const auto inside = first_in(series, {span.from_ms, span.from_ms + kStillHoldsMs});
  const auto earlier = before(series, span.from_ms);
  if (earlier && span.from_ms - earlier->time_ms <= kStillHoldsMs) return earlier;
  return inside;
}

}  // namespace

TemperatureStratum stratum_of(std::optional<double> ambient_c) {
  if (!ambient_c) return TemperatureStratum::unknown;
  if (*ambient_c < 5) return TemperatureStratum::below_5;
  if (*ambient_c < 15) return TemperatureStratum::from_5;
  if (*ambient_c <= 25) return TemperatureStratum::from_15;
  return TemperatureStratum::above_25;
}

double removed_offset_a(const PackReading* reading, const PackRows& rows) {
  if (reading == nullptr || !reading->offset) return 0;
  return reading->offset->a - rows.offset.a;
}

void ChargeTrace::push(std::int64_t t_ms, double charging_a, double volt, bool gap) {
  double sum = 0;
  const bool first = time_ms.empty();
  if (!first) {
    const double hours = static_cast<double>(t_ms - time_ms.back()) / 3.6e6;
    const double step = (charge_a.back() + charging_a) / 2 * hours;
    sum = ah.back() + step;
    if (gap) {
      bridged_ah += step;
      gap_h += hours;
    }
  }
  time_ms.push_back(t_ms);
  charge_a.push_back(charging_a);
  pack_v.push_back(volt);
  ah.push_back(sum);
  after_gap.push_back(gap && !first);
}

void ChargeTrace::close() {
  if (time_ms.empty()) return;
  start = UtcTime{std::chrono::milliseconds{time_ms.front()}};
  end = UtcTime{std::chrono::milliseconds{time_ms.back()}};
  const double hours = static_cast<double>(time_ms.back() - time_ms.front()) / 3.6e6;
  coverage = hours > 0 ? 1 - gap_h / hours : 0;
}

double ChargeTrace::ah_at(std::int64_t t_ms) const {
  if (time_ms.empty()) return 0;
  const auto after = std::upper_bound(time_ms.begin(), time_ms.end(), t_ms);
  if (after == time_ms.begin()) return ah.front();
  if (after == time_ms.end()) return ah.back();
  const auto i = static_cast<std::size_t>(after - time_ms.begin());
  const double share =
      static_cast<double>(t_ms - time_ms[i - 1]) / static_cast<double>(time_ms[i] - time_ms[i - 1]);
  return ah[i - 1] + share * (ah[i] - ah[i - 1]);
}

ChargeTrace trace_charge(const SegmentInput& input, const Segment& segment, ChargeKind kind,
                         std::uint32_t van_segment) {
  ChargeTrace trace;
  trace.kind = kind;
  trace.segment = van_segment;
  trace.verdict = input.reading != nullptr ? input.reading->verdict : CurrentVerdict::too_little;
  const Episode& episode = input.episode;
  if (const auto ambient = near_start(episode.ambient, segment.span)) {
    trace.ambient_c = static_cast<double>(ambient->raw) - 40;
  }
  if (const auto odometer = near_start(episode.odometer, segment.span)) {
    trace.odometer_km = odometer->raw * 0.1;
  }
  if (segment.has_rows && trace.verdict == CurrentVerdict::agreed) {
    const PackRows& rows = input.rows;
    const double removed_a = removed_offset_a(input.reading, rows);
    const SensorGain gain = rows.gain.value_or(SensorGain{});
    const double volt_gain = gain.energy / gain.charge;
    for (std::size_t i = segment.row_from; i <= segment.row_to; ++i) {
      const bool gap =
          i > segment.row_from &&
          static_cast<double>(rows.time_ms[i] - rows.time_ms[i - 1]) >
              longest_step_ms(rows.period_ms[i - 1], rows.period_ms[i], input.rules.gap_periods);
      trace.push(rows.time_ms[i], -gain.charge * (rows.tenths_a[i] * kAmpPerCode + removed_a),
                 volt_gain * rows.v_raw[i] * kVoltPerCode, gap);
    }
    trace.close();
  }
  trace.soc_step_pct = episode.soc_step_pct;
  trace.a_step_a = input.rows.a_step_a;
  trace.start = UtcTime{std::chrono::milliseconds{segment.span.from_ms}};
  trace.end = UtcTime{std::chrono::milliseconds{segment.span.to_ms}};
  const IndexRange range = samples_in(episode.soc, segment.span);
  for (std::size_t i = range.from; i < range.past; ++i) {
    trace.soc.time_ms.push_back(episode.soc.time_ms[i]);
    trace.soc.raw.push_back(episode.soc.raw[i]);
  }
  return trace;
}

void join_traces(ChargeTrace& first, const ChargeTrace& second) {
  for (std::size_t i = 0; i < second.time_ms.size(); ++i) {
    // The border between two episodes is no gap of the poll.
    first.push(second.time_ms[i], second.charge_a[i], second.pack_v[i], second.after_gap[i]);
  }
  for (std::size_t i = 0; i < second.soc.time_ms.size(); ++i) {
    first.soc.time_ms.push_back(second.soc.time_ms[i]);
    first.soc.raw.push_back(second.soc.raw[i]);
  }
  first.a_step_a = std::max(first.a_step_a, second.a_step_a);
  const UtcTime begun = first.start;
  first.close();
  first.start = begun;
  first.end = second.end;
}

}  // namespace packmile
