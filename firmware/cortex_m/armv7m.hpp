// Registers that every Cortex-M3 and M4 has.
//
// Source    ARMv7-M Architecture Reference Manual (ARM DDI 0403): system control
//           space B3.2, SysTick B3.3, NVIC B3.4, MPU B3.5.
#pragma once
#include <cstdint>

namespace packmile::cortex_m {

// The 32-bit register at `address`.
inline volatile std::uint32_t& reg(std::uint32_t address) {
  return *reinterpret_cast<volatile std::uint32_t*>(address);  // NOLINT: a register is an address
}

// Adds `bits` to what the register holds.
inline void set_bits(std::uint32_t address, std::uint32_t bits) {
  reg(address) = reg(address) | bits;
}

inline constexpr std::uint32_t kSysTickControl = 0xE000E010;
inline constexpr std::uint32_t kSysTickReload = 0xE000E014;
inline constexpr std::uint32_t kSysTickValue = 0xE000E018;
inline constexpr std::uint32_t kNvicEnable = 0xE000E100;  // a word for 32 interrupts
inline constexpr std::uint32_t kInterruptState = 0xE000ED04;
inline constexpr std::uint32_t kResetControl = 0xE000ED0C;
inline constexpr std::uint32_t kFaultStatus = 0xE000ED28;
inline constexpr std::uint32_t kMpuControl = 0xE000ED94;
inline constexpr std::uint32_t kMpuRegion = 0xE000ED98;
inline constexpr std::uint32_t kMpuBase = 0xE000ED9C;
inline constexpr std::uint32_t kMpuSize = 0xE000EDA0;

inline constexpr std::uint32_t kSysTickOn = 7;  // enabled, interrupt, processor clock
inline constexpr std::uint32_t kSysTickMaxReload = 0x00FF'FFFF;
inline constexpr std::uint32_t kSysTickPending = 1u << 26;
inline constexpr std::uint32_t kSysTickUnpend = 1u << 25;
inline constexpr std::uint32_t kSystemReset = 0x05FA'0004;

inline void enable_interrupt(unsigned number) {
  reg(kNvicEnable + 4 * (number / 32)) = 1u << (number % 32);
}

inline void mask_interrupts() { asm volatile("cpsid i" ::: "memory"); }
inline void unmask_interrupts() { asm volatile("cpsie i" ::: "memory"); }
// Returns at the next interrupt, also while they are masked.
inline void wait_for_interrupt() { asm volatile("dsb\n wfi" ::: "memory"); }

[[noreturn]] inline void reset_machine() {
  asm volatile("dsb" ::: "memory");
  reg(kResetControl) = kSystemReset;
  for (;;) asm volatile("dsb" ::: "memory");
}

}  // namespace packmile::cortex_m
