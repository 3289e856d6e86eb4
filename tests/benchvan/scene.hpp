// What the bench van is doing: the one thing that ECUs and supply ask.
//
// Time  all calls with times that do not run back.
#pragma once
#include <cstdint>

#include "benchvan/bench_time.hpp"
#include "benchvan/moment.hpp"

namespace packmile::benchvan {

// Supply at pin 16, millivolts: charged by the DC/DC converter, and at rest.
// Common practice, no source.
inline constexpr std::uint16_t kSupplyAwakeMv = 14200;
inline constexpr std::uint16_t kSupplyAsleepMv = 12600;

// Full torque of the invented motor, as pack power. Actual torque is shown as
// this share where a track has no column of it: a made-up figure, only there to
// give the motor controller something to say.
inline constexpr double kFullTorqueKw = 125.0;

// Of the pack where a track has no column of it.
inline constexpr double kPackTempC = 21.0;

// Fills what every awake van shows and the track does not have: supply voltage,
// run time, pack temperature, distance since the trouble codes were cleared, torque.
void add_derived_values(Moment& moment, double run_time_s, double cleared_at_km);

class Scene {
 public:
  Scene() = default;
  Scene(const Scene&) = delete;
  Scene& operator=(const Scene&) = delete;
  virtual ~Scene() = default;

  // Any frame of the tester has left on the bus.
  virtual void on_tester_frame(Nanos now_ns) { static_cast<void>(now_ns); }
  // The tester asked for what a sensor shows: not for a support bitmap, not for
  // the VIN.
  virtual void on_poll_request(Nanos now_ns) = 0;
  // What the sensors show; null: the ECUs are silent. Valid until the next call.
  [[nodiscard]] virtual const Moment* show(Nanos now_ns) = 0;
  // Whether the van's bus is up; it may be while the ECUs are silent.
  [[nodiscard]] virtual bool awake(Nanos now_ns) = 0;
  // The next time at which awake() changes by itself; kNever: not at all.
  [[nodiscard]] virtual Nanos next_change_ns() const = 0;

  [[nodiscard]] virtual std::uint16_t supply_mv(Nanos now_ns) {
    return awake(now_ns) ? kSupplyAwakeMv : kSupplyAsleepMv;
  }
};

}  // namespace packmile::benchvan
