#include "cortex_m/last_words.hpp"

#include "cortex_m/armv7m.hpp"
#include "cortex_m/start_up.hpp"

namespace packmile::cortex_m {
namespace {

constexpr std::uint32_t kMark = 0x9A5C'17E3;

// Plain words: nothing may initialise them.
struct Kept {
  std::uint32_t mark;
  std::uint32_t cause;
  std::uint32_t exception;
  std::uint32_t program_counter;
  std::uint32_t link_register;
  std::uint32_t status;
  std::uint32_t check;
};
[[gnu::section(".noinit")]] Kept kept;

std::uint32_t check_of(const Kept& k) {
  return ~(k.cause ^ k.program_counter ^ k.link_register ^ k.status ^ k.exception);
}

// What the processor pushed when it took the exception: r0-r3, r12, lr, pc, xpsr.
constexpr unsigned kStackedLr = 5;
constexpr unsigned kStackedPc = 6;
constexpr unsigned kStackedWords = 8;

bool holds_frame(const std::uint32_t* frame) {
  return frame >= __stack_bottom && frame + kStackedWords <= __stack_top;
}

}  // namespace

std::optional<LastWords> take_last_words() {
  const bool good = kept.mark == kMark && kept.check == check_of(kept);
  kept.mark = 0;
  if (!good) return std::nullopt;
  return LastWords{static_cast<BootCause>(kept.cause),
                   {kept.exception, kept.program_counter, kept.link_register, kept.status}};
}

void reset_with(const LastWords& words) {
  kept = {kMark,
          static_cast<std::uint32_t>(words.cause),
          words.fault.exception,
          words.fault.program_counter,
          words.fault.link_register,
          words.fault.status,
          0};
  kept.check = check_of(kept);
  reset_machine();
}

// `frame`: the stack pointer at the exception.
extern "C" [[noreturn, gnu::used]] void packmile_end_after_exception(const std::uint32_t* frame,
                                                                     std::uint32_t cause) {
  LastWords words;
  words.cause = static_cast<BootCause>(cause);
  asm volatile("mrs %0, ipsr" : "=r"(words.fault.exception));
  words.fault.status = reg(kFaultStatus);
  if (holds_frame(frame)) {
    words.fault.program_counter = frame[kStackedPc];
    words.fault.link_register = frame[kStackedLr];
  }
  reset_with(words);
}

// The stack may be what broke: the report is written on a fresh one.
#define PACKMILE_END_AFTER_EXCEPTION(cause) \
  asm volatile(                             \
      "mrs r0, msp\n"                       \
      "ldr r1, =__stack_top\n"              \
      "msr msp, r1\n"                       \
      "movs r1, %0\n"                       \
      "b packmile_end_after_exception\n"    \
      ".ltorg\n" ::"i"(cause))

[[gnu::naked]] void on_fatal_exception() {
  PACKMILE_END_AFTER_EXCEPTION(static_cast<int>(BootCause::fault));
}

[[gnu::naked]] void on_watchdog() {
  PACKMILE_END_AFTER_EXCEPTION(static_cast<int>(BootCause::watchdog));
}

}  // namespace packmile::cortex_m
