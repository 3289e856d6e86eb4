#include "timeline/episode.hpp"

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
  soc_step_pct = kSocStepPct;
  start = end = {};
  clock_doubt = {};
  clock_guessed = order_conflict = cut = false;
  log_id = boot_id = 0;
}

bool Episode::empty() const { return start == UtcTime{} && end == UtcTime{}; }

}  // namespace packmile
