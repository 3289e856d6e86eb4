// Milliseconds since power-up, from a SysTick that interrupts only when somebody
// waits for it.
//
// Range     64 bits of milliseconds; sleeps of any length, woken each 2^24 cycles
//           (335 ms at 50 MHz) to keep count.
// Accuracy  that of the crystal. Each sleep restarts the counter, which costs a
//           few cycles that are added back as counted in the compiled code
//           (kRestartCycles): within 10 cycles a sleep.
// Source    ARM DDI 0403 B3.3: the counter runs from RELOAD to 0, a period of
//           RELOAD + 1 cycles; a write to VALUE clears it and it is loaded a cycle
//           later.
#pragma once
#include <algorithm>
#include <cstdint>

#include "cortex_m/armv7m.hpp"
#include "tick.hpp"

namespace packmile::cortex_m {

class TicklessClock {
 public:
  // `cycles_per_ms`: of the processor clock, 1,000 to 200,000.
  void start(std::uint32_t cycles_per_ms) {
    cycles_per_ms_ = cycles_per_ms;
    load_ = kSysTickMaxReload;
    reg(kSysTickReload) = load_;
    reg(kSysTickValue) = 0;
    reg(kSysTickControl) = kSysTickOn;
  }

  [[nodiscard]] Tick now_ms() {
    mask_interrupts();
    update();
    const Tick now = ms_;
    unmask_interrupts();
    return now;
  }

  // Sleeps until `due`, an interrupt, or for a third of a second, whichever comes
  // first. `something_waits()` is asked with interrupts masked, so that what came
  // just before is not slept over.
  template <class SomethingWaits>
  void sleep_until(Tick due, SomethingWaits something_waits) {
    mask_interrupts();
    update();
    if (due > ms_ && !something_waits()) {
      const Tick longest_ms = kSysTickMaxReload / cycles_per_ms_;
      const auto left_ms = static_cast<std::uint32_t>(std::min(due - ms_, longest_ms));
      restart(left_ms * cycles_per_ms_ - cycles_);
      // From the next period on. A short one that came again and again would
      // interrupt a long turn without end, and one too many be lost.
      reg(kSysTickReload) = kSysTickMaxReload;
      if (take_pending()) {
        // Over so soon that the next may have begun as short.
        end_period();
        restart(kSysTickMaxReload + 1);
      } else {
        wait_for_interrupt();
      }
    }
    unmask_interrupts();
  }

  void on_interrupt() { end_period(); }

 private:
  static constexpr std::uint32_t kRestartCycles = 20;
  static constexpr std::uint32_t kShortest = 64;

  void update() {
    std::uint32_t value = reg(kSysTickValue);
    if (take_pending()) {
      value = reg(kSysTickValue);
      end_period();
    }
    const std::uint32_t at = load_ - value;
    take(at - counted_);
    counted_ = at;
  }

  [[nodiscard]] static bool take_pending() {
    const bool pending = (reg(kInterruptState) & kSysTickPending) != 0;
    if (pending) reg(kInterruptState) = kSysTickUnpend;
    return pending;
  }

  // The one that was asked for is over; the next began by itself.
  void end_period() {
    take(load_ + 1 - counted_);
    counted_ = 0;
    load_ = kSysTickMaxReload;
  }

  void restart(std::uint32_t cycles) {
    load_ = std::max(cycles, kShortest) - 1;
    reg(kSysTickReload) = load_;
    reg(kSysTickValue) = 0;
    counted_ = 0;
    take(kRestartCycles);
    // Until it is loaded it reads 0, as at the end of a period.
    while (reg(kSysTickValue) == 0) {
    }
  }

  // A division of 64 bits would need the library's, larger than this clock.
  void take(std::uint32_t cycles) {
    cycles_ += cycles;
    ms_ += cycles_ / cycles_per_ms_;
    cycles_ %= cycles_per_ms_;
  }

  Tick ms_ = 0;
  std::uint32_t cycles_per_ms_ = 1;
  std::uint32_t cycles_ = 0;  // of the millisecond that is not over
  std::uint32_t load_ = 0;
  std::uint32_t counted_ = 0;  // cycles of this period that ms_ and cycles_ hold
};

}  // namespace packmile::cortex_m
