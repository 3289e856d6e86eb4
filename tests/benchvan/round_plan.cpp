#include "benchvan/round_plan.hpp"

#include "benchvan/round.hpp"

namespace packmile::benchvan {

RoundPlan::RoundPlan(std::uint64_t seed, double odometer_km)
    : generator_(seed),
      pack_(kNominalAh, generator_.between(70, 95)),
      odometer_km_(odometer_km),
      ambient_c_(generator_.between(-2, 24)) {}

std::optional<Act> RoundPlan::next() {
  constexpr double kEmptyPct = 20;
  Act act{.wake_ns = free_from_ns_};
  if (pack_.soc_pct() < kEmptyPct) {
    act.track = charge_at_power(pack_, {.until_pct = 90}, ambient_c_, odometer_km_, 30, 60);
  } else {
    // Short, so that the first one begins to move within seconds of the start.
    RoundShape shape;
    shape.drops = 4 + static_cast<int>(generator_.below(5));
    shape.stem_min_s = 120;
    shape.stem_max_s = 900;
    act.track = drive_round(make_round(generator_, shape), VanBody{}, pack_, ambient_c_,
                            odometer_km_, 5, 20);
  }
  odometer_km_ = act.track.column(Quantity::odometer_km).back();
  free_from_ns_ += nanos_of_seconds(act.track.duration_s());
  return act;
}

}  // namespace packmile::benchvan
