#include "cortex_m/boards/stm32f405/board.hpp"

#include "cortex_m/armv7m.hpp"
#include "cortex_m/start_up.hpp"
#include "cortex_m/stm32_calendar.hpp"
#include "cortex_m/supply_divider.hpp"

namespace packmile::cortex_m {
namespace {

constexpr std::uint32_t kRtc = 0x4000'2800;
constexpr std::uint32_t kWatchdog = 0x4000'3000;
constexpr std::uint32_t kUsart1 = 0x4001'1000;
constexpr std::uint32_t kAdc1 = 0x4001'2000;
constexpr std::uint32_t kSpi1 = 0x4001'3000;
constexpr std::uint32_t kPortA = 0x4002'0000;
constexpr std::uint32_t kPortB = 0x4002'0400;
constexpr std::uint32_t kRcc = 0x4002'3800;
constexpr std::uint32_t kFlash = 0x4002'3C00;

constexpr std::uint32_t kRccControl = kRcc + 0x00;
constexpr std::uint32_t kRccPll = kRcc + 0x04;
constexpr std::uint32_t kRccClocks = kRcc + 0x08;
constexpr std::uint32_t kRccPorts = kRcc + 0x30;
constexpr std::uint32_t kRccBus2 = kRcc + 0x44;
constexpr std::uint32_t kRccCauses = kRcc + 0x74;

// GPIO.
constexpr std::uint32_t kMode = 0x00;
constexpr std::uint32_t kPull = 0x0C;
constexpr std::uint32_t kSetReset = 0x18;
constexpr std::uint32_t kAlternateLow = 0x20;
constexpr std::uint32_t kAlternateHigh = 0x24;

// USART.
constexpr std::uint32_t kUsartStatus = kUsart1 + 0x00;
constexpr std::uint32_t kUsartData = kUsart1 + 0x04;
constexpr std::uint32_t kUsartControl = kUsart1 + 0x0C;
constexpr std::uint32_t kSendEmpty = 1u << 7;
constexpr std::uint32_t kReceived = 1u << 5;
constexpr std::uint32_t kByteLost = 1u << 3;
constexpr std::uint32_t kByteBad = 1u << 2 | 1u << 1 | 1u;  // noise, frame, parity
// On, both ways, an interrupt for each byte received.
constexpr std::uint32_t kListening = 1u << 13 | 1u << 5 | 1u << 3 | 1u << 2;
constexpr std::uint32_t kSendInterrupt = 1u << 7;

constexpr unsigned kUsart1Interrupt = 37;

constexpr std::uint32_t kInternalHz = 16'000'000;
constexpr std::uint32_t kCrystalHz = 48'000'000;  // by the PLL
// Of polls for a crystal or a PLL that does not come.
constexpr std::uint32_t kPatience = 200'000;

constexpr std::uint32_t kReferenceMv = 3'300;
constexpr std::uint32_t kConverterSteps = 4'096;

constinit SerialLine adapter_line;
constinit std::uint32_t clock_hz = kInternalHz;

bool comes(std::uint32_t address, std::uint32_t mask, std::uint32_t wanted) {
  for (std::uint32_t tries = 0; tries < kPatience; ++tries)
    if ((reg(address) & mask) == wanted) return true;
  return false;
}

// 8 MHz / 8 x 192 / 4. Where the crystal does not come the part goes on with its own
// oscillator of 16 MHz: good to about a percent, which a serial line bears.
void start_clock() {
  set_bits(kRccControl, 1u << 16);
  if (!comes(kRccControl, 1u << 17, 1u << 17)) return;
  reg(kFlash) = 1;  // a wait state above 30 MHz
  reg(kRccPll) = 8u | 192u << 6 | 1u << 16 | 1u << 22 | 4u << 24;
  set_bits(kRccControl, 1u << 24);
  if (!comes(kRccControl, 1u << 25, 1u << 25)) return;
  reg(kRccClocks) = 4u << 10 | 2u;  // the slower bus at a half
  if (comes(kRccClocks, 3u << 2, 2u << 2)) clock_hz = kCrystalHz;
}

void start_pins() {
  set_bits(kRccPorts, 1u << 1 | 1u);
  set_bits(kRccBus2, 1u << 12 | 1u << 8 | 1u << 4);  // SPI1, ADC1, USART1
  // The gates open two cycles later.
  [[maybe_unused]] const std::uint32_t wait = reg(kRccBus2);
  constexpr std::uint32_t kAnalogue = 3;
  constexpr std::uint32_t kAlternate = 2;
  constexpr std::uint32_t kOutput = 1;
  // PA13 and PA14 stay a debugger's.
  reg(kPortA + kSetReset) = 1u << 4;
  reg(kPortA + kMode) = 2u << 28 | 2u << 26 | kAlternate << 20 | kAlternate << 18 |
                        kAlternate << 14 | kAlternate << 12 | kAlternate << 10 | kOutput << 8 |
                        kAnalogue;
  reg(kPortA + kPull) = 1u << 26 | 2u << 28 | 1u << 20 | 1u << 12;  // no card: reads FF
  reg(kPortA + kAlternateLow) = 5u << 28 | 5u << 24 | 5u << 20;
  reg(kPortA + kAlternateHigh) = 7u << 8 | 7u << 4;
  reg(kPortB + kMode) = (reg(kPortB + kMode) & ~3u) | kOutput;
}

void start_line() {
  reg(kUsart1 + 0x08) = (clock_hz + PACKMILE_ADAPTER_BAUD / 2) / PACKMILE_ADAPTER_BAUD;
  reg(kUsartControl) = kListening;
  enable_interrupt(kUsart1Interrupt);
}

void fill_sender() {
  while ((reg(kUsartStatus) & kSendEmpty) != 0) {
    const std::optional<std::uint8_t> byte = adapter_line.next_to_send();
    if (!byte) {
      reg(kUsartControl) = kListening;
      return;
    }
    reg(kUsartData) = *byte;
  }
  reg(kUsartControl) = kListening | kSendInterrupt;
}

void start_supply() {
  reg(kAdc1 + 0x10) = 7;  // input 0: the longest sample, as the divider is weak
  reg(kAdc1 + 0x08) = 1;
}

void start_watchdog() {
  reg(kWatchdog) = 0x5555;
  reg(kWatchdog + 0x04) = 4;      // 32 kHz / 64
  reg(kWatchdog + 0x08) = 2'000;  // 4 s
  reg(kWatchdog) = 0xCCCC;
}

void on_usart1() {
  const std::uint32_t status = reg(kUsartStatus);
  if ((status & (kReceived | kByteLost)) != 0) {
    const std::uint32_t byte = reg(kUsartData);
    if ((status & (kByteLost | kByteBad)) != 0) adapter_line.on_overrun();
    if ((status & kByteBad) == 0) adapter_line.on_received(static_cast<std::uint8_t>(byte));
  }
  if ((reg(kUsartControl) & kSendInterrupt) != 0) fill_sender();
}

}  // namespace

[[gnu::section(".vectors"), gnu::used]] static constinit const auto kVectors =
    vectors<kUsart1Interrupt>({{kUsart1Interrupt, on_usart1}});

void Board::start() {
  start_clock();
  start_pins();
  start_line();
  start_supply();
  start_watchdog();
}

std::uint32_t Board::cycles_per_ms() { return clock_hz / 1'000; }

void Board::feed_watchdog() { reg(kWatchdog) = 0xAAAA; }

SerialLine& Board::line() { return adapter_line; }

void Board::begin_sending() {
  mask_interrupts();
  fill_sender();
  unmask_interrupts();
}

// The conversion that was started a turn before.
std::optional<std::uint16_t> Board::supply_mv() {
  constexpr std::uint32_t kDone = 1u << 1;
  std::optional<std::uint16_t> mv;
  if ((reg(kAdc1) & kDone) != 0)
    mv = supply_mv_of<kReferenceMv, kConverterSteps>(reg(kAdc1 + 0x4C));
  reg(kAdc1 + 0x08) = 1u << 30 | 1u;
  return mv;
}

void Board::show(bool lit) { reg(kPortB + kSetReset) = lit ? 1u : 1u << 16; }

BootCause Board::reset_cause() {
  constexpr std::uint32_t kByWatchdog = 1u << 29;
  constexpr std::uint32_t kBySoftware = 1u << 28;
  constexpr std::uint32_t kForget = 1u << 24;
  const std::uint32_t causes = reg(kRccCauses);
  reg(kRccCauses) = causes | kForget;
  if ((causes & kByWatchdog) != 0) return BootCause::watchdog;
  if ((causes & kBySoftware) != 0) return BootCause::unknown;
  return BootCause::power_on;
}

std::uint32_t Board::entropy() { return reg(kSysTickValue) ^ reg(kAdc1 + 0x4C) << 24; }

WallClockReading Board::wall_clock(Tick now) {
  constexpr std::uint32_t kWasSet = 1u << 4;
  if ((reg(kRtc + 0x0C) & kWasSet) == 0) return {};
  const std::uint32_t time = reg(kRtc);  // and holds the date until that is read
  return read_calendar(time, reg(kRtc + 0x04), now);
}

void Board::Spi::select() { reg(kPortA + kSetReset) = 1u << (4 + 16); }
void Board::Spi::deselect() { reg(kPortA + kSetReset) = 1u << 4; }

std::uint8_t Board::Spi::exchange(std::uint8_t byte) {
  constexpr std::uint32_t kIn = 1u;
  reg(kSpi1 + 0x0C) = byte;
  while ((reg(kSpi1 + 0x08) & kIn) == 0) {
  }
  return static_cast<std::uint8_t>(reg(kSpi1 + 0x0C));
}

namespace {
void set_divider(std::uint32_t log2) {
  constexpr std::uint32_t kMaster = 1u << 9 | 1u << 8 | 1u << 6 | 1u << 2;
  reg(kSpi1) = 0;
  reg(kSpi1) = kMaster | (log2 - 1) << 3;  // 8 bits, mode 0
}
}  // namespace

void Board::Spi::set_slow() { set_divider(7); }
void Board::Spi::set_fast() { set_divider(2); }

}  // namespace packmile::cortex_m
