// Duty: what the van is doing, as far as it decides how often to ask.
//
// Input     raw words as answered; $9A's current in either of its codings.
// Output    driving, charging, standing (awake, nothing flows) or parked.
// Sign      not needed: only the size of the current and the direction of SoC.
// Pure      no clock, heap, I/O.
//
//   duty      what is seen                                          next
//   any       speed of 1 km/h or more; odometer moves               driving
//   driving,  still, and SoC 2 codes above its lowest since then    charging
//   standing
//   charging  SoC 2 codes below its highest since then              driving
//   driving,  idle for standing_after_ms                            standing
//   charging
//   standing  idle for parked_after_ms                              parked
//   standing  2 A or more                                           driving
//   parked    only restart() leads out of it
//
// Terms     still: speed 0, or not answered and the odometer does not move.
//           Where neither is answered, a van is never taken for charging.
//           idle: still, under 2 A where the current is answered, SoC not rising.
#pragma once
#include <cstdint>
#include <optional>
#include <span>

#include "core/pid_reply.hpp"
#include "tick.hpp"

namespace packmile {

enum class Duty : std::uint8_t { driving, charging, standing, parked };

// One place for every limit of the judgement. Common practice, no source,
// unless said otherwise.
struct DutyLimits {
  Tick standing_after_ms = 5 * 60'000;  // the standstill that ends a trip
  Tick parked_after_ms = 30 * 60'000;
  // A probe that nothing asked for must not keep the network awake for long.
  Tick parked_after_probe_ms = 5 * 60'000;
  std::uint32_t idle_below_raw = 20;  // 2 A at 0.1 A a code
  std::uint32_t burst_step_raw = 20;  // a step of the current by 2 A
  Tick burst_ms = 2 * 60'000;         // the start of a charge, and steps of it
  std::uint32_t charge_soc_codes = 2;
  Tick fast_soc_ms = 30'000;             // a code in less: the charge is a fast one
  std::uint32_t fine_odometer_raw = 20;  // 2 km at 0.1 km a code
};

class DutyJudge {
 public:
  // Polling begins or goes on after a silence. `by_probe`: nothing but our own
  // question shows that the van is awake.
  void restart(Tick now, bool by_probe);
  void on_words(Tick now, std::span<const RawWord> words);

  [[nodiscard]] Duty duty() const { return duty_; }
  // The pack current has just begun to flow or has just changed: ask often.
  [[nodiscard]] bool pack_burst(Tick now) const { return now < burst_until_; }
  [[nodiscard]] bool soc_fast(Tick now) const;
  // Within the first 2 km: the odometer's step is coarse against the distance.
  [[nodiscard]] bool odometer_fine() const;

 private:
  void on_speed(Tick now, std::uint32_t kmh);
  void on_odometer(Tick now, std::uint32_t raw);
  void on_soc(Tick now, std::uint32_t raw);
  void on_current(Tick now, std::uint32_t raw);
  void moved(Tick now);
  void set_duty(Tick now, Duty duty);

  DutyLimits limits_;
  Tick idle_since_ = 0;
  Tick burst_until_ = 0;
  Tick soc_rose_at_ = 0;
  std::optional<std::uint32_t> trip_odometer_raw_;
  std::optional<std::uint32_t> odometer_raw_;
  std::optional<std::uint32_t> current_raw_;
  std::optional<std::uint32_t> soc_raw_;
  std::uint32_t soc_low_raw_ = 0;
  std::uint32_t soc_high_raw_ = 0;
  Duty duty_ = Duty::driving;
  bool speed_answered_ = false;
  bool soc_rises_fast_ = false;
  bool soc_has_risen_ = false;
  bool by_probe_ = false;
};

}  // namespace packmile
