// The Cortex-M port's own line, card and turn, with time given by a script over UART2:
// lines as in ports/steps.hpp, but that an answer has a second number, the bytes sent
// since the last, and that the next step may be told before the last has been answered:
// a turn that is due before it is taken, and answered, first. For the emulator only; no
// clock of the board runs.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <utility>

#include "cortex_m/armv7m.hpp"
#include "cortex_m/boards/lm3s6965/board.hpp"
#include "cortex_m/machine.hpp"
#include "cortex_m/start_up.hpp"

namespace packmile::cortex_m {
namespace {

constexpr std::uint32_t kGate1 = 0x400F'E104;
constexpr std::uint32_t kUart2Gate = 1u << 2;
constexpr std::uint32_t kUart2 = 0x4000'E000;
constexpr std::uint32_t kUartFlags = kUart2 + 0x18;
constexpr std::uint32_t kSendFull = 1u << 5;
constexpr std::uint32_t kReceiveEmpty = 1u << 4;
constexpr unsigned kUart2Interrupt = 33;
// ARM DDI 0403 B3.4: takes back what kNvicEnable gave to interrupts 32 to 63.
constexpr std::uint32_t kNvicDisable1 = 0xE000'E184;
constexpr std::uint32_t kWatchdogLoad = 0x4000'0000;

// The player of the script. The board has no handler for UART2: its interrupt is enabled
// only to wake the processor while none can be taken.
struct Player {
  static void start() {
    reg(kGate1) = reg(kGate1) | kUart2Gate;
    reg(kUart2 + 0x24) = 27;  // 115200 baud; the emulator does not care
    reg(kUart2 + 0x2C) = 0x70;
    reg(kUart2 + 0x30) = 0x301;
    reg(kUart2 + 0x38) = 1u << 4 | 1u << 6;
  }

  static char get() {
    while ((reg(kUartFlags) & kReceiveEmpty) != 0) {
      mask_interrupts();
      enable_interrupt(kUart2Interrupt);
      wait_for_interrupt();
      reg(kNvicDisable1) = 1u << (kUart2Interrupt - 32);
      unmask_interrupts();
    }
    return static_cast<char>(reg(kUart2));
  }

  // The next run of digits; takes the character behind it, too.
  static std::uint64_t number() {
    char byte = get();
    while (byte < '0' || byte > '9') byte = get();
    std::uint64_t value = 0;
    for (; byte >= '0' && byte <= '9'; byte = get())
      value = value * 10 + static_cast<unsigned>(byte - '0');
    return value;
  }

  static void end_of_line() {
    while (get() != '\n') {
    }
  }

  static void put(char byte) {
    while ((reg(kUartFlags) & kSendFull) != 0) {
    }
    reg(kUart2) = static_cast<std::uint8_t>(byte);
  }

  // Ticks of a script fit 32 bits.
  static void put(std::uint32_t value) {
    std::array<char, 10> digits{};
    std::size_t count = 0;
    do {
      digits[count++] = static_cast<char>('0' + value % 10);
      value /= 10;
    } while (value != 0);
    while (count != 0) put(digits[--count]);
  }
};

// The board's line, of which a turn has all bytes of its step: waits for those that are
// still on their way.
class ScriptedLine {
 public:
  void expect(std::size_t count) { expected_ = count; }

  [[nodiscard]] bool has_received() const { return expected_ != 0; }
  [[nodiscard]] std::size_t take_received(std::span<std::uint8_t> out) {
    const std::size_t wanted = std::min(out.size(), expected_);
    for (std::size_t got = 0; got < wanted;)
      got += Board::line().take_received(out.subspan(got, wanted - got));
    expected_ -= wanted;
    return wanted;
  }
  [[nodiscard]] std::size_t room_to_send() const { return Board::line().room_to_send(); }
  void send(std::span<const std::uint8_t> bytes) {
    Board::line().send(bytes);
    sent_ += static_cast<std::uint32_t>(bytes.size());
  }
  // Bytes since it was asked last.
  [[nodiscard]] std::uint32_t take_sent() { return std::exchange(sent_, 0); }
  [[nodiscard]] bool sending() const { return Board::line().sending(); }

 private:
  std::size_t expected_ = 0;
  std::uint32_t sent_ = 0;
};

constinit ScriptedLine scripted_line;

class ScriptedClock {
 public:
  [[nodiscard]] Tick now_ms() const { return now_; }

  // Until the script's first tick time goes on by itself: a card needs some to start.
  void pass_1_ms() { now_ += began_ ? 0 : 1; }

  void begin() {
    began_ = true;
    boot_tick_ = Player::number();
    entropy_ = static_cast<std::uint32_t>(Player::number());
    unix_ms_ = Player::number();
    now_ = boot_tick_;
  }

  template <class SomethingWaits>
  void sleep_until(Tick due, SomethingWaits something_waits) {
    if (due <= now_ || something_waits()) return;
    answer(due);
    if (!step_waits_) read_step();
    if (due < step_tick_) {
      now_ = due;
      return;
    }
    now_ = step_tick_;
    scripted_line.expect(step_bytes_);
    step_waits_ = false;
  }

  [[nodiscard]] std::uint32_t entropy() const { return entropy_; }
  [[nodiscard]] std::uint64_t unix_ms() const { return unix_ms_ + (now_ - boot_tick_); }

 private:
  static void answer(Tick due) {
    Player::put('D');
    Player::put(' ');
    if (due == kNoDeadline)
      Player::put('-');
    else
      Player::put(static_cast<std::uint32_t>(due));
    Player::put(' ');
    Player::put(scripted_line.take_sent());
    Player::put('\n');
  }

  void read_step() {
    step_tick_ = Player::number();
    step_bytes_ = static_cast<std::size_t>(Player::number());
    Player::end_of_line();
    step_waits_ = true;
  }

  Tick now_ = 0;
  Tick step_tick_ = 0;  // of the step that was read and is still to come
  std::size_t step_bytes_ = 0;
  bool step_waits_ = false;
  Tick boot_tick_ = 0;
  std::uint64_t unix_ms_ = 0;
  std::uint32_t entropy_ = 0;
  bool began_ = false;
};

constinit ScriptedClock scripted_clock;

// The board, but for what a script says otherwise. It has no supply: the emulator's
// converter makes one up.
struct ScriptedBoard : Board {
  static void feed_watchdog() {
    Board::feed_watchdog();
    scripted_clock.pass_1_ms();
  }
  [[nodiscard]] static ScriptedLine& line() { return scripted_line; }
  [[nodiscard]] static std::optional<std::uint16_t> supply_mv() { return std::nullopt; }
  [[nodiscard]] static BootCause reset_cause() { return BootCause::power_on; }
  // Asked when the card is there, before the first turn.
  [[nodiscard]] static std::uint32_t entropy() {
    scripted_clock.begin();
    return scripted_clock.entropy();
  }
  // As a Linux port calls it, so that its cards are the same.
  [[nodiscard]] static WallClockReading wall_clock(Tick now) {
    return {.source = WallClockSource::system,
            .unix_ms = scripted_clock.unix_ms(),
            .tick = now,
            .resolution_ms = 1};
  }
};

}  // namespace

void on_sys_tick() {}

void run_machine() {
  Board::start();
  reg(kWatchdogLoad) = 0xFFFF'FFFF;  // 86 s: a player may take its time
  Player::start();
  build_machine<ScriptedBoard>(scripted_clock, std::nullopt).run();
}

}  // namespace packmile::cortex_m
