#include "core/duty.hpp"

#include <memory>

namespace packmile {
namespace {

// $9A, byte A: bit 1 the voltage, bit 2 the current (from memory, catalogue).
constexpr std::uint32_t kVoltageSupported = 0x02;
constexpr std::uint32_t kCurrentSupported = 0x04;

std::uint32_t distance16(std::uint32_t a, std::uint32_t b) {
  const std::uint32_t up = (a - b) & 0xFFFF;
  return up < 0x8000 ? up : 0x10000 - up;
}

// From the zero of either coding, whichever is nearer.
std::uint32_t size_of(std::uint32_t current_raw) {
  const std::uint32_t twos = distance16(current_raw, 0);
  const std::uint32_t offset = distance16(current_raw, 0x8000);
  return twos < offset ? twos : offset;
}

// The word is above its zero: in both codings of one van the same way.
bool is_upwards(std::uint32_t current_raw) { return (current_raw & 0x7FFF) < 0x4000; }

// What comes without support bits is the owner's signal.
bool supports(std::span<const RawWord> words, std::uint32_t bit) {
  for (const RawWord& one : words)
    if (one.id == signal::pack_support) return (one.word & bit) != 0;
  return true;
}

}  // namespace

void DutyJudge::restart(Tick now, DutyStart start) {
  const std::optional<Tick> supply_low_since = supply_low_since_;
  const bool current_doubted = current_doubted_;
  const std::optional<std::uint32_t> voltage_raw = voltage_raw_;
  // In place: a temporary would be one of the deepest frames of the logger.
  std::construct_at(this);
  current_doubted_ = current_doubted;
  voltage_raw_ = voltage_raw;
  // The supply is measured whether or not the van is asked; the time that counts
  // begins anew.
  if (supply_low_since) supply_low_since_ = now;
  idle_since_ = now;
  moved_at_ = now;
  borne_out_at_ = now;
  start_ = start;
}

void DutyJudge::on_supply_low(Tick now, bool low) {
  if (!low) {
    supply_low_since_.reset();
  } else if (!supply_low_since_) {
    supply_low_since_ = now;
  }
}

bool DutyJudge::voltage_rose(std::uint32_t raw) const {
  return voltage_raw_ && raw >= *voltage_raw_ + limits_.voltage_rise_raw;
}

bool DutyJudge::shows_life(std::span<const RawWord> words) const {
  const bool believed = supports(words, kCurrentSupported) && !current_doubted_;
  for (const RawWord& one : words) {
    if (one.id == signal::speed_kmh && one.word >= 1) return true;
    if (one.id == signal::odometer_km && odometer_raw_ && one.word != *odometer_raw_) return true;
    if (one.id == signal::soc_pct && soc_raw_ && one.word >= *soc_raw_ + limits_.charge_soc_codes)
      return true;
    if (one.id == signal::pack_a && believed && size_of(one.word) >= limits_.idle_below_raw)
      return true;
  }
  return false;
}

void DutyJudge::set_duty(Tick now, Duty duty) {
  if (duty == duty_) return;
  if (duty == Duty::charging) {
    burst_until_ = now + limits_.burst_ms;
    charge_upwards_ = current_raw_ && is_upwards(*current_raw_);
    soc_high_raw_ = soc_raw_.value_or(0);
  }
  if (duty == Duty::driving) {
    trip_odometer_raw_ = odometer_raw_;
    soc_low_raw_ = soc_raw_.value_or(0);
  }
  duty_ = duty;
}

void DutyJudge::bear_out(Tick now) {
  borne_out_at_ = now;
  current_doubted_ = false;
  life_seen_ = true;
}

void DutyJudge::moved(Tick now) {
  idle_since_ = now;
  bear_out(now);
  // A new trip, even where a load kept the van from being parked.
  if (now - moved_at_ >= limits_.parked_after_ms) trip_odometer_raw_ = odometer_raw_;
  moved_at_ = now;
  voltage_raw_.reset();
  if (soc_raw_) soc_low_raw_ = *soc_raw_;
  set_duty(now, Duty::driving);
}

void DutyJudge::on_speed(Tick now, std::uint32_t kmh) {
  speed_answered_ = true;
  if (kmh >= 1) moved(now);
}

void DutyJudge::on_odometer(Tick now, std::uint32_t raw) {
  const bool changed = odometer_raw_ && raw != *odometer_raw_;
  odometer_raw_ = raw;
  if (!trip_odometer_raw_) trip_odometer_raw_ = raw;
  if (!changed) return;
  // Some odometers catch up after the stop: where speed is answered, that alone
  // does not end a charge.
  if (duty_ == Duty::charging && speed_answered_) return;
  moved(now);
}

void DutyJudge::on_soc(Tick now, std::uint32_t raw) {
  const std::optional<std::uint32_t> before = soc_raw_;
  soc_raw_ = raw;
  if (!before) {
    soc_low_raw_ = raw;
    soc_high_raw_ = raw;
    return;
  }
  if (raw != *before) {
    borne_out_at_ = now;
    current_doubted_ = false;
  }
  if (raw < soc_low_raw_ || now - moved_at_ < limits_.soc_settles_ms) soc_low_raw_ = raw;
  if (raw > soc_high_raw_) soc_high_raw_ = raw;
  if (raw > *before) {
    idle_since_ = now;
    bear_out(now);
    soc_rises_fast_ = soc_has_risen_ && now - soc_rose_at_ < limits_.fast_soc_ms;
    soc_has_risen_ = true;
    soc_rose_at_ = now;
    // Where nothing tells motion from standing, a rise may be braking downhill.
    const bool motion_answered = speed_answered_ || odometer_raw_;
    if (motion_answered && raw - soc_low_raw_ >= limits_.charge_soc_codes)
      set_duty(now, Duty::charging);
  }
  if (duty_ == Duty::charging && soc_high_raw_ - raw >= limits_.charge_soc_codes) {
    set_duty(now, Duty::driving);
    idle_since_ = now;
  }
}

bool DutyJudge::current_flows(std::uint32_t raw) const {
  if (size_of(raw) >= limits_.idle_below_raw) return true;
  return duty_ == Duty::charging && is_upwards(raw) == charge_upwards_ &&
         size_of(raw) >= limits_.taper_below_raw;
}

// A load's voltage falls; it rises under a charge, and for an hour or two after
// a drive.
void DutyJudge::on_voltage(Tick now, std::uint32_t raw) {
  if (voltage_raw_ && !voltage_rose(raw)) return;
  if (voltage_raw_) {
    borne_out_at_ = now;
    current_doubted_ = false;
  }
  voltage_raw_ = raw;
}

void DutyJudge::on_current(Tick now, std::uint32_t raw) {
  if (current_raw_ && distance16(raw, *current_raw_) > limits_.burst_step_raw)
    burst_until_ = now + limits_.burst_ms;
  current_raw_ = raw;
  if (size_of(raw) < limits_.idle_below_raw) current_doubted_ = false;
  if (current_doubted_ || !current_flows(raw)) return;
  if (now - borne_out_at_ >=
      (soc_raw_ ? limits_.load_believed_ms : limits_.load_believed_without_soc_ms))
    return;
  idle_since_ = now;
  life_seen_ = true;
  if (duty_ == Duty::standing) set_duty(now, Duty::driving);
}

void DutyJudge::on_words(Tick now, std::span<const RawWord> words) {
  if (duty_ == Duty::parked) return;
  const bool current_supported = supports(words, kCurrentSupported);
  const bool voltage_supported = supports(words, kVoltageSupported);
  for (const RawWord& one : words) {
    if (one.id == signal::soc_pct) on_soc(now, one.word);
    if (one.id == signal::odometer_km) on_odometer(now, one.word);
    if (one.id == signal::pack_v && voltage_supported) on_voltage(now, one.word);
    if (one.id == signal::pack_a && current_supported) on_current(now, one.word);
  }
  for (const RawWord& one : words)
    if (one.id == signal::speed_kmh) on_speed(now, one.word);

  const Tick idle_ms = now - idle_since_;
  if (idle_ms >= parked_after(now)) {
    // Whatever still flows has kept nothing awake: nothing bore it out.
    if (current_raw_ && size_of(*current_raw_) >= limits_.idle_below_raw) current_doubted_ = true;
    set_duty(now, Duty::parked);
  } else if (start_ == DutyStart::supply && !life_seen_ && idle_ms >= limits_.top_up_after_ms) {
    set_duty(now, Duty::standing);
  }
}

Tick DutyJudge::parked_after(Tick now) const {
  // Nothing tells a stand from a charge's last codes.
  const bool motion_answered = speed_answered_ || odometer_raw_;
  if (!motion_answered || (duty_ == Duty::charging && !current_raw_))
    return limits_.charge_ended_after_ms;
  const bool low_for_long =
      supply_low_since_ && now - *supply_low_since_ >= limits_.parked_after_low_supply_ms;
  return low_for_long ? limits_.parked_after_low_supply_ms : limits_.parked_after_ms;
}

bool DutyJudge::soc_fast(Tick now) const {
  return soc_rises_fast_ && now - soc_rose_at_ < limits_.fast_soc_ms;
}

bool DutyJudge::odometer_fine() const {
  return !odometer_raw_ || !trip_odometer_raw_ ||
         *odometer_raw_ - *trip_odometer_raw_ < limits_.fine_odometer_raw;
}

}  // namespace packmile
