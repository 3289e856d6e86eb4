#include "core/duty.hpp"

namespace packmile {
namespace {

// $9A, byte A, bit 2: the current is supported (from memory, catalogue).
constexpr std::uint32_t kCurrentSupported = 0x04;

std::uint32_t distance16(std::uint32_t a, std::uint32_t b) {
  const std::uint32_t up = (a - b) & 0xFFFF;
  return up < 0x8000 ? up : 0x10000 - up;
}

}  // namespace

void DutyJudge::restart(Tick now, bool by_probe) {
  *this = DutyJudge{};
  idle_since_ = now;
  by_probe_ = by_probe;
}

void DutyJudge::set_duty(Tick now, Duty duty) {
  if (duty == duty_) return;
  if (duty == Duty::charging) {
    burst_until_ = now + limits_.burst_ms;
    soc_high_raw_ = soc_raw_.value_or(0);
  }
  if (duty == Duty::driving) {
    trip_odometer_raw_ = odometer_raw_;
    soc_low_raw_ = soc_raw_.value_or(0);
  }
  duty_ = duty;
}

void DutyJudge::moved(Tick now) {
  idle_since_ = now;
  by_probe_ = false;
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
  if (raw < soc_low_raw_) soc_low_raw_ = raw;
  if (raw > soc_high_raw_) soc_high_raw_ = raw;
  if (raw > *before) {
    idle_since_ = now;
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

void DutyJudge::on_current(Tick now, std::uint32_t raw) {
  if (current_raw_ && distance16(raw, *current_raw_) > limits_.burst_step_raw)
    burst_until_ = now + limits_.burst_ms;
  current_raw_ = raw;
  const bool idle = distance16(raw, 0) < limits_.idle_below_raw ||
                    distance16(raw, 0x8000) < limits_.idle_below_raw;
  if (idle) return;
  idle_since_ = now;
  by_probe_ = false;
  if (duty_ == Duty::standing) set_duty(now, Duty::driving);
}

void DutyJudge::on_words(Tick now, std::span<const RawWord> words) {
  if (duty_ == Duty::parked) return;
  bool current_supported = false;
  for (const RawWord& one : words)
    if (one.id == signal::pack_support) current_supported = (one.word & kCurrentSupported) != 0;
  for (const RawWord& one : words) {
    if (one.id == signal::soc_pct) on_soc(now, one.word);
    if (one.id == signal::odometer_km) on_odometer(now, one.word);
    if (one.id == signal::pack_a && current_supported) on_current(now, one.word);
  }
  for (const RawWord& one : words)
    if (one.id == signal::speed_kmh) on_speed(now, one.word);

  const Tick idle_ms = now - idle_since_;
  const Tick parked_after_ms = by_probe_ ? limits_.parked_after_probe_ms : limits_.parked_after_ms;
  if (idle_ms >= parked_after_ms) {
    set_duty(now, Duty::parked);
  } else if (idle_ms >= limits_.standing_after_ms) {
    set_duty(now, Duty::standing);
  }
}

bool DutyJudge::soc_fast(Tick now) const {
  return soc_rises_fast_ && now - soc_rose_at_ < limits_.fast_soc_ms;
}

bool DutyJudge::odometer_fine() const {
  return !odometer_raw_ || !trip_odometer_raw_ ||
         *odometer_raw_ - *trip_odometer_raw_ < limits_.fine_odometer_raw;
}

}  // namespace packmile
