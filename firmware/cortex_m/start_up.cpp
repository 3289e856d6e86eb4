#include "cortex_m/start_up.hpp"

#include "cortex_m/armv7m.hpp"

extern "C" {
extern std::uint32_t __data_begin[];
extern std::uint32_t __data_end[];
extern std::uint32_t __data_load[];
extern std::uint32_t __bss_begin[];
extern std::uint32_t __bss_end[];
// What g++ asks of a program without a C++ runtime's start-up.
void* __dso_handle = nullptr;
int __aeabi_atexit(void*, void (*)(void*), void*) { return 0; }
}

namespace packmile::cortex_m {
namespace {

// The stack lies at the bottom of RAM, so that one that grows too far leaves RAM
// instead of eating the logger's state. Whatever lies below may not be touched.
constexpr std::uint32_t kGuardBytesLog2 = 12;

void guard_stack() {
  reg(kMpuRegion) = 0;
  reg(kMpuBase) = reinterpret_cast<std::uint32_t>(__stack_bottom) - (1u << kGuardBytesLog2);
  reg(kMpuSize) = 1u << 28 | (kGuardBytesLog2 - 1) << 1 | 1;  // no execution, no access
  reg(kMpuControl) = 1u << 2 | 1;                             // the rest as without an MPU
  asm volatile("dsb\n isb" ::: "memory");
}

}  // namespace

void on_reset() {
  const auto* here = static_cast<std::uint32_t*>(__builtin_frame_address(0));
  constexpr std::uint32_t kWordsInUse = 32;
  for (std::uint32_t* word = __stack_bottom; word < here - kWordsInUse; ++word) *word = kStackPaint;
  const std::uint32_t* from = __data_load;
  for (std::uint32_t* to = __data_begin; to != __data_end;) *to++ = *from++;
  for (std::uint32_t* to = __bss_begin; to != __bss_end;) *to++ = 0;
  guard_stack();
  run_machine();
}

}  // namespace packmile::cortex_m
