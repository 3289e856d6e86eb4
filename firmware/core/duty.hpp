// Duty: what the van is doing, as far as it decides how often to ask.
//
// Input     raw words as answered; $9A's current in either of its codings.
// Output    driving, charging, standing (awake, nothing flows) or parked.
// Sign      not needed: only the size of the current and the direction of SoC.
// Pure      no clock, heap, I/O.
//
//   duty      what is seen                                          next
//   any       speed of 1 km/h or more; odometer moves               driving
//   driving,  still, and SoC 2 codes above its lowest since a       charging
//   standing  minute after motion
//   charging  SoC 2 codes below its highest since then              driving
//   driving   woken by its supply alone, idle for a minute          standing
//   standing  2 A or more                                           driving
//   driving,  idle for 5 min; for 2 min with the supply low; for   parked
//   standing, 15 min where no motion, or in a charge no current,
//   charging  is answered
//   parked    only restart() leads out of it
//
// Terms     still: speed 0, or not answered and the odometer does not move.
//           Where neither is answered, a van is never taken for charging.
//           idle: still, SoC not rising, under 2 A where the current is answered;
//           in a charge under 0.5 A, or of the other direction than it began.
//           A current of 2 A or more is believed as long as something bears it
//           out: motion, SoC, or a pack voltage that goes on rising. A sensor that
//           is off by 2 A must not keep a van awake: the current of a van that was
//           parked in spite of it is doubted, over restarts, until something bears
//           it out or it is seen to be less.
#pragma once
#include <cstdint>
#include <optional>
#include <span>

#include "core/pid_reply.hpp"
#include "tick.hpp"

namespace packmile {

enum class Duty : std::uint8_t { driving, charging, standing, parked };

// Why polling begins.
enum class DutyStart : std::uint8_t {
  life,   // the van answers and somebody uses it, as far as is known
  supply  // only a supply that rose: it may be no more than a top-up
};

// One place for every limit of the judgement. Common practice, no source,
// unless said otherwise.
struct DutyLimits {
  Tick parked_after_ms = 5 * 60'000;  // the standstill that ends a trip
  Tick parked_after_low_supply_ms = 2 * 60'000;
  // Without a current a charge shows by SoC alone: 3 kW into 100 kWh takes 8 min
  // a code.
  Tick charge_ended_after_ms = 15 * 60'000;
  Tick top_up_after_ms = 60'000;
  // A current that nothing else bears out; 2 A or more are a code of SoC by
  // then. Where SoC is not answered the voltage has to tell a charge, and it
  // rises slowly: 2 kW into 50 kWh of the flattest cells, 0.5 V an hour.
  Tick load_believed_ms = 30 * 60'000;
  Tick load_believed_without_soc_ms = 60 * 60'000;
  std::uint32_t voltage_rise_raw = 32;  // 0.5 V at 1/64 V a code
  std::uint32_t idle_below_raw = 20;    // 2 A at 0.1 A a code
  // A charge tapers; what an awake van draws has the other direction.
  std::uint32_t taper_below_raw = 5;
  std::uint32_t burst_step_raw = 20;  // a step of the current by 2 A
  Tick burst_ms = 2 * 60'000;         // the start of a charge, and steps of it
  std::uint32_t charge_soc_codes = 2;
  // What braking gave back shows late, and in steps of up to 1 %.
  Tick soc_settles_ms = 60'000;
  Tick fast_soc_ms = 30'000;             // a code in less: the charge is a fast one
  std::uint32_t fine_odometer_raw = 20;  // 2 km at 0.1 km a code
};

class DutyJudge {
 public:
  // Polling begins or goes on after a silence.
  void restart(Tick now, DutyStart start);
  void on_words(Tick now, std::span<const RawWord> words);
  // The supply is below what a DC/DC converter gives, or no longer. Never
  // called where the supply is not measured.
  void on_supply_low(Tick now, bool low);
  // Do the words of a single probe say that the van is used or charged? Against
  // what was seen last.
  [[nodiscard]] bool shows_life(std::span<const RawWord> words) const;

  [[nodiscard]] Duty duty() const { return duty_; }
  // Motion, a charge or a load was seen since restart().
  [[nodiscard]] bool life_seen() const { return life_seen_; }
  // The pack current has just begun to flow or has just changed: ask often.
  [[nodiscard]] bool pack_burst(Tick now) const { return now < burst_until_; }
  [[nodiscard]] bool soc_fast(Tick now) const;
  // Within the first 2 km: the odometer's step is coarse against the distance.
  [[nodiscard]] bool odometer_fine() const;

 private:
  void on_speed(Tick now, std::uint32_t kmh);
  void on_odometer(Tick now, std::uint32_t raw);
  void on_soc(Tick now, std::uint32_t raw);
  void on_voltage(Tick now, std::uint32_t raw);
  void on_current(Tick now, std::uint32_t raw);
  void moved(Tick now);
  void bear_out(Tick now);
  [[nodiscard]] Tick parked_after(Tick now) const;
  [[nodiscard]] bool current_flows(std::uint32_t raw) const;
  [[nodiscard]] bool voltage_rose(std::uint32_t raw) const;
  void set_duty(Tick now, Duty duty);

  static constexpr DutyLimits limits_{};

  Tick idle_since_ = 0;
  Tick burst_until_ = 0;
  Tick soc_rose_at_ = 0;
  Tick moved_at_ = 0;
  Tick borne_out_at_ = 0;  // motion, a change of SoC, a rise of the voltage
  std::optional<Tick> supply_low_since_;
  std::optional<std::uint32_t> trip_odometer_raw_;
  std::optional<std::uint32_t> odometer_raw_;
  std::optional<std::uint32_t> current_raw_;
  std::optional<std::uint32_t> soc_raw_;
  // The highest since the van moved, in steps that bear a current out.
  std::optional<std::uint32_t> voltage_raw_;
  std::uint32_t soc_low_raw_ = 0;
  std::uint32_t soc_high_raw_ = 0;
  Duty duty_ = Duty::driving;
  bool speed_answered_ = false;
  bool soc_rises_fast_ = false;
  bool soc_has_risen_ = false;
  bool life_seen_ = false;
  bool current_doubted_ = false;
  bool charge_upwards_ = false;  // the raw word is above its zero in this charge
  DutyStart start_ = DutyStart::life;
};

}  // namespace packmile
