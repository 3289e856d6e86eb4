#include "cortex_m/boards/lm3s6965/board.hpp"

#include "cortex_m/armv7m.hpp"
#include "cortex_m/start_up.hpp"
#include "cortex_m/supply_divider.hpp"

namespace packmile::cortex_m {
namespace {

constexpr std::uint32_t kHz = 50'000'000;

constexpr std::uint32_t kWatchdog = 0x4000'0000;
constexpr std::uint32_t kPortA = 0x4000'4000;
constexpr std::uint32_t kPortD = 0x4000'7000;
constexpr std::uint32_t kPortF = 0x4002'5000;
constexpr std::uint32_t kSsi0 = 0x4000'8000;
constexpr std::uint32_t kUart1 = 0x4000'D000;
constexpr std::uint32_t kTimer0 = 0x4003'0000;
constexpr std::uint32_t kAdc0 = 0x4003'8000;
constexpr std::uint32_t kSystem = 0x400F'E000;

// System control.
constexpr std::uint32_t kRawInterrupts = kSystem + 0x050;
constexpr std::uint32_t kResetCauses = kSystem + 0x05C;
constexpr std::uint32_t kRunClock = kSystem + 0x060;
constexpr std::uint32_t kGate0 = kSystem + 0x100;
constexpr std::uint32_t kGate1 = kSystem + 0x104;
constexpr std::uint32_t kGate2 = kSystem + 0x108;
constexpr std::uint32_t kPllLocked = 1u << 6;

// GPIO.
constexpr std::uint32_t kDirection = 0x400;
constexpr std::uint32_t kAlternate = 0x420;
constexpr std::uint32_t kPullUp = 0x510;
constexpr std::uint32_t kDigital = 0x51C;
// A write to this address changes only the bits of `mask`.
constexpr std::uint32_t masked(std::uint32_t port, std::uint32_t mask) {
  return port + (mask << 2);
}

// UART (PL011).
constexpr std::uint32_t kUartData = 0x00;
constexpr std::uint32_t kUartFlags = 0x18;
constexpr std::uint32_t kUartMask = 0x38;
constexpr std::uint32_t kUartClear = 0x44;
constexpr std::uint32_t kSendFull = 1u << 5;
constexpr std::uint32_t kReceiveEmpty = 1u << 4;
constexpr std::uint32_t kReceiveInterrupts = 1u << 4 | 1u << 6;  // level, and a pause
constexpr std::uint32_t kSendInterrupt = 1u << 5;
constexpr std::uint32_t kByteLost = 1u << 11;
constexpr std::uint32_t kByteBad = 7u << 8;  // frame, parity, break

constexpr unsigned kUart1Interrupt = 6;
constexpr unsigned kWatchdogInterrupt = 18;

// Bites after twice this.
constexpr std::uint32_t kWatchdogMs = 2'000;
constexpr std::uint32_t kWatchdogUnlock = 0x1ACC'E551;

// The converter's reference is 3.0 V; 10 bits.
constexpr std::uint32_t kReferenceMv = 3'000;
constexpr std::uint32_t kConverterSteps = 1'024;

constinit SerialLine adapter_line;

void start_clock() {
  constexpr std::uint32_t kBypass = 1u << 11;
  constexpr std::uint32_t kPllOff = 1u << 13;
  constexpr std::uint32_t kCrystal8MHz = 0xEu << 6;
  constexpr std::uint32_t kDivide = 1u << 22 | 3u << 23;  // 200 MHz / 4
  std::uint32_t clock = reg(kRunClock) | kBypass;
  clock &= ~(1u << 22);
  reg(kRunClock) = clock;
  // Main oscillator, PLL on.
  clock &= ~(0xFu << 6 | 3u << 4 | kPllOff | 1u << 12 | 1u);
  clock |= kCrystal8MHz;
  reg(kRunClock) = clock;
  clock = (clock & ~(0xFu << 23)) | kDivide;
  reg(kRunClock) = clock;
  // Without a crystal it never locks, and the watchdog does not run yet: what is
  // slow by a known bit is better than what does not start.
  for (std::uint32_t tries = 0; tries < 100'000 && (reg(kRawInterrupts) & kPllLocked) == 0;
       ++tries) {
  }
  reg(kRunClock) = clock & ~kBypass;
}

void start_pins() {
  set_bits(kGate0, 1u << 16 | 1u << 3);            // converter, watchdog
  set_bits(kGate1, 1u << 16 | 1u << 4 | 1u << 1);  // timer 0, SSI0, UART1
  set_bits(kGate2, 1u << 5 | 1u << 3 | 1u);        // ports F, D, A
  // The gates open three cycles later.
  [[maybe_unused]] const std::uint32_t wait = reg(kGate2) + reg(kGate2);
  set_bits(kPortA + kAlternate, 1u << 2 | 1u << 4 | 1u << 5);
  set_bits(kPortA + kDigital, 1u << 2 | 1u << 4 | 1u << 5);
  set_bits(kPortA + kPullUp, 1u << 4);  // no card: reads FF
  set_bits(kPortD + kAlternate, 1u << 2 | 1u << 3);
  set_bits(kPortD + kDirection, 1u);
  set_bits(kPortD + kDigital, 1u << 3 | 1u << 2 | 1u);
  set_bits(kPortF + kDirection, 1u);
  set_bits(kPortF + kDigital, 1u);
}

void start_line() {
  constexpr std::uint32_t kDivider64 =
      (kHz * 4 + PACKMILE_ADAPTER_BAUD / 2) / PACKMILE_ADAPTER_BAUD;
  reg(kUart1 + 0x30) = 0;
  reg(kUart1 + 0x24) = kDivider64 >> 6;
  reg(kUart1 + 0x28) = kDivider64 & 63;
  reg(kUart1 + 0x2C) = 0x70;     // 8 bits, no parity, FIFOs
  reg(kUart1 + 0x34) = 2u << 3;  // interrupt at 8 of 16 received, at 2 of 16 to send
  reg(kUart1 + 0x30) = 0x301;    // on, both ways
  reg(kUart1 + kUartMask) = kReceiveInterrupts;
  enable_interrupt(kUart1Interrupt);
}

void fill_sender() {
  while ((reg(kUart1 + kUartFlags) & kSendFull) == 0) {
    const std::optional<std::uint8_t> byte = adapter_line.next_to_send();
    if (!byte) {
      reg(kUart1 + kUartMask) = kReceiveInterrupts;
      return;
    }
    reg(kUart1 + kUartData) = *byte;
  }
  reg(kUart1 + kUartMask) = kReceiveInterrupts | kSendInterrupt;
}

// A timer starts a conversion each second; nothing waits for it.
void start_supply() {
  reg(kAdc0 + 0x00) = 0;
  reg(kAdc0 + 0x14) = 5u << 12;  // sequencer 3: started by a timer
  reg(kAdc0 + 0xA0) = 0;         // input 0
  reg(kAdc0 + 0xA4) = 6;         // one sample, then the flag
  reg(kAdc0 + 0x00) = 1u << 3;
  reg(kTimer0 + 0x00) = 0;  // 32 bits
  reg(kTimer0 + 0x04) = 2;  // again and again
  reg(kTimer0 + 0x28) = kHz - 1;
  reg(kTimer0 + 0x0C) = 1u << 5 | 1u;
}

void start_watchdog() {
  reg(kWatchdog + 0xC00) = kWatchdogUnlock;
  reg(kWatchdog + 0x00) = kHz / 1'000 * kWatchdogMs;
  reg(kWatchdog + 0x08) = 3;  // the first time an interrupt, the second a reset
  enable_interrupt(kWatchdogInterrupt);
}

void on_uart1() {
  reg(kUart1 + kUartClear) = kReceiveInterrupts | kSendInterrupt;
  while ((reg(kUart1 + kUartFlags) & kReceiveEmpty) == 0) {
    const std::uint32_t word = reg(kUart1 + kUartData);
    if ((word & kByteLost) != 0) adapter_line.on_overrun();
    if ((word & kByteBad) != 0) {
      adapter_line.on_overrun();
      continue;
    }
    adapter_line.on_received(static_cast<std::uint8_t>(word));
  }
  fill_sender();
}

}  // namespace

[[gnu::section(".vectors"), gnu::used]] static constinit const auto kVectors =
    vectors<kWatchdogInterrupt>({{kUart1Interrupt, on_uart1}, {kWatchdogInterrupt, on_watchdog}});

void Board::start() {
  start_clock();
  start_pins();
  start_line();
  start_supply();
  start_watchdog();
}

void Board::feed_watchdog() { reg(kWatchdog + 0x0C) = 1; }

SerialLine& Board::line() { return adapter_line; }

void Board::begin_sending() {
  mask_interrupts();
  fill_sender();
  unmask_interrupts();
}

std::optional<std::uint16_t> Board::supply_mv() {
  constexpr std::uint32_t kSequencer3 = 1u << 3;
  if ((reg(kAdc0 + 0x04) & kSequencer3) == 0) return std::nullopt;
  reg(kAdc0 + 0x0C) = kSequencer3;
  return supply_mv_of<kReferenceMv, kConverterSteps>(reg(kAdc0 + 0xA8));
}

void Board::show(bool lit) { reg(masked(kPortF, 1)) = lit ? 1 : 0; }

BootCause Board::reset_cause() {
  constexpr std::uint32_t kByWatchdog = 1u << 3;
  constexpr std::uint32_t kBySoftware = 1u << 4;
  const std::uint32_t causes = reg(kResetCauses);
  reg(kResetCauses) = 0;
  if ((causes & kByWatchdog) != 0) return BootCause::watchdog;
  if ((causes & kBySoftware) != 0) return BootCause::unknown;
  return BootCause::power_on;
}

std::uint32_t Board::entropy() { return reg(kSysTickValue); }

void Board::Spi::select() { reg(masked(kPortD, 1)) = 0; }
void Board::Spi::deselect() { reg(masked(kPortD, 1)) = 1; }

std::uint8_t Board::Spi::exchange(std::uint8_t byte) {
  constexpr std::uint32_t kReceived = 1u << 2;
  reg(kSsi0 + 0x08) = byte;
  while ((reg(kSsi0 + 0x0C) & kReceived) == 0) {
  }
  return static_cast<std::uint8_t>(reg(kSsi0 + 0x08));
}

namespace {
void set_divider(std::uint32_t divider) {
  reg(kSsi0 + 0x04) = 0;
  reg(kSsi0 + 0x10) = divider;
  reg(kSsi0 + 0x00) = 7;  // 8 bits, mode 0
  reg(kSsi0 + 0x04) = 2;
}
}  // namespace

void Board::Spi::set_slow() { set_divider(128); }
void Board::Spi::set_fast() { set_divider(4); }

}  // namespace packmile::cortex_m
