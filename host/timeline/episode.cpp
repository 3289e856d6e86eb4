#include "timeline/episode.hpp"

#include "card/boot_clock.hpp"

namespace packmile {
namespace {

void clear_series(SignalSeries& series) {
  series.time_ms.clear();
  series.raw.clear();
  series.ecu = 0;
  series.calibration_id.clear();
}

}  // namespace

void Episode::clear() {
  pack.ecu = 0;
  pack.calibration_id.clear();
  pack.v_step_v = kPackVStep;
  pack.a_step_a = kPackAStep;
  pack.time_ms.clear();
  pack.v_raw.clear();
  pack.a_raw.clear();
  pack.period_ms.clear();
  pack.rows_not_supported = 0;
  clear_series(speed);
  clear_series(soc);
  clear_series(odometer);
  clear_series(ambient);
  clear_series(module_v);
  reported = {};
  soc_step_pct = kSocStepPct;
  start = end = {};
  start_doubt = end_doubt = {};
  clock_guessed = order_conflict = cut = false;
  log_id = boot_id = 0;
}

bool Episode::empty() const { return start == UtcTime{} && end == UtcTime{}; }

TimeDoubt Episode::doubt_of(UtcTime time) const {
  const std::int64_t from_start_ms = drift_ms((time - start).count());
  const std::int64_t to_end_ms = drift_ms((end - time).count());
  // Seen from either end the tick can have run off by no more than its drift.
  const auto nearer = [&](std::optional<std::int64_t> at_start,
                          std::optional<std::int64_t> at_end) {
    if (!at_start || !at_end || (*at_start == 0 && *at_end == 0)) return at_start;
    return std::optional{std::min(*at_start + from_start_ms, *at_end + to_end_ms)};
  };
  return {nearer(start_doubt.too_late_ms, end_doubt.too_late_ms),
          nearer(start_doubt.too_early_ms, end_doubt.too_early_ms)};
}

}  // namespace packmile
