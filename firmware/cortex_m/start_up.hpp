// From reset to run_machine(), and the handlers that every board's vector table
// names.
#pragma once
#include <cstdint>

extern "C" {
// Of the linker script.
extern std::uint32_t __stack_bottom[];
extern std::uint32_t __stack_top[];
}

namespace packmile::cortex_m {

// What the unused part of the stack is filled with at power-up: how far it was
// ever used can be read off at any time.
inline constexpr std::uint32_t kStackPaint = 0x5AFE'57AC;

// A vector table begins with these sixteen words (ARM DDI 0403 B1.5.3).
struct SystemVectors {
  std::uint32_t* stack;
  void (*handlers[15])();
};

// The machine's first instruction.
[[noreturn]] void on_reset();
// Hard fault, memory, bus and usage faults, and interrupts that nobody enabled:
// recorded, then a reset.
void on_fatal_exception();
// The same, for the interrupt of a watchdog that was not fed.
void on_watchdog();
void on_sys_tick();

inline constexpr SystemVectors kSystemVectors = {
    __stack_top,
    {on_reset, on_fatal_exception, on_fatal_exception, on_fatal_exception, on_fatal_exception,
     on_fatal_exception, nullptr, nullptr, nullptr, nullptr, on_fatal_exception, on_fatal_exception,
     nullptr, on_fatal_exception, on_sys_tick}};

// The table of a board that uses interrupts up to kLast.
template <unsigned kLast>
struct Vectors {
  SystemVectors system;
  void (*interrupts[kLast + 1])();
};

struct InterruptHandler {
  unsigned number;
  void (*handler)();
};

// Those that are not named are fatal.
template <unsigned kLast, unsigned kNamed>
consteval Vectors<kLast> vectors(const InterruptHandler (&named)[kNamed]) {
  Vectors<kLast> all{kSystemVectors, {}};
  for (auto& handler : all.interrupts) handler = on_fatal_exception;
  for (const InterruptHandler& one : named) all.interrupts[one.number] = one.handler;
  return all;
}

// The image's own part; never returns.
[[noreturn]] void run_machine();

}  // namespace packmile::cortex_m
