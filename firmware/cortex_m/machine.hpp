// The turn of a bare machine, over a board and a clock.
//
// Board (boards/*/board.hpp; static, so that nothing is called through a pointer)
//   kLayout                       what the card holds, CardLayout
//   start()                       clocks, pins, line, card bus, supply, watchdog
//   cycles_per_ms()               of the processor, valid after start()
//   feed_watchdog()               at each turn, at most 2^24 cycles apart (335 ms at 50 MHz)
//   line()                        SerialLine& of the adapter
//   begin_sending()               there are bytes in line() to send
//   supply_mv()                   a measurement that is new, millivolts; else none
//   show(bool)                    the lamp
//   reset_cause()                 as the hardware tells it, when no last words are left
//   entropy()                     anything that differs between boots; 0: none
//   Spi                           the card's bus, for SdCard
//   wall_clock(Tick)              optional: a clock with a cell, WallClockReading
// Clock: start(cycles_per_ms), now_ms(), sleep_until(Tick, something_waits).
//
// Card      looked for during kCardStartMs, then the logger starts with it or
//           without. A card that comes later, and another card than the one it
//           started with, are begun with afresh: the machine restarts.
#pragma once
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <new>
#include <optional>
#include <span>

#include "core/logger.hpp"
#include "core/port.hpp"
#include "cortex_m/lamp.hpp"
#include "cortex_m/last_words.hpp"
#include "cortex_m/sd_card.hpp"
#include "cortex_m/serial_line.hpp"
#include "tick.hpp"

namespace packmile::cortex_m {

// A card may take a second to start (SD Physical Layer Simplified Specification
// 4.2.3); one that is not there is found missing at once.
inline constexpr Tick kCardStartMs = 1'500;
// A contact that chatters must not restart the machine again and again.
inline constexpr Tick kRestartNotBeforeMs = 10'000;
inline constexpr Tick kWallClockEveryMs = 3'600'000;

template <class Board, class Clock>
class Machine {
 public:
  explicit Machine(Clock& clock, const std::optional<LastWords>& last)
      : clock_(clock), card_(spi_), last_(last), logger_(power_up()) {
    const Tick now = clock_.now_ms();
    hand_in_wall_clock(now);
    logger_.on_adapter(now, AdapterLink::up);
  }

  [[noreturn]] void run() {
    for (;;) {
      turn();
      clock_.sleep_until(due_, [] { return Board::line().has_received(); });
    }
  }

  // noinline, here and below: what is not needed at the same time must not be on the
  // stack at the same time.

  // Steps 1 to 4 of the turn; due() says when the next is due if nothing comes.
  void turn() {
    Board::feed_watchdog();
    const Tick now = clock_.now_ms();
    hand_in(now);
    if (now >= logger_.deadline()) logger_.on_time(now);
    do {
      send();
    } while (use_card(now));
    look_at_card(now);
    const Lamp lamp = lamp_at(logger_.light(), now);
    Board::show(lamp.lit);
    due_ = std::min({logger_.deadline(), card_.deadline(), lamp.until, supply_due_});
  }

  [[nodiscard]] Tick due() const { return due_; }
  [[nodiscard]] const Logger& logger() const { return logger_; }

 private:
  // What wakes a van raises its supply for minutes.
  static constexpr Tick kSupplyEveryMs = 1'000;
  static constexpr Tick kSupplyAgainMs = 100;  // none was ready

  PowerUp power_up() {
    while (card_.state() != CardState::ready && clock_.now_ms() < kCardStartMs) {
      Board::feed_watchdog();
      move_card_on(clock_.now_ms());
    }
    started_with_card_ = card_.state() == CardState::ready;
    return {.card_sectors = started_with_card_ ? card_.sectors() : 0,
            .layout = Board::kLayout,
            .reset_cause = last_ ? last_->cause : Board::reset_cause(),
            .entropy = Board::entropy(),
            .fault = last_ ? last_->fault : FaultRecord{}};
  }

  // At most what was there when it began: the rest of the turn gets its share.
  [[gnu::noinline]] void hand_in_bytes(Tick now) {
    std::array<std::uint8_t, 32> bytes;  // NOLINT: filled before it is read
    for (std::size_t taken = 0; taken < SerialLine::kReceiveBytes;) {
      const std::size_t n = Board::line().take_received(bytes);
      if (n == 0) break;
      logger_.on_bytes(now, std::span(bytes).first(n));
      taken += n;
    }
  }

  [[gnu::noinline]] void move_card_on(Tick now) { card_.on_time(now); }

  void hand_in(Tick now) {
    hand_in_bytes(now);
    move_card_on(now);
    hand_in_card(now);
    if (now >= supply_due_) {
      const std::optional<std::uint16_t> mv = Board::supply_mv();
      supply_due_ = now + (mv ? kSupplyEveryMs : kSupplyAgainMs);
      if (mv) logger_.on_supply(now, *mv);
    }
    hand_in_wall_clock(now);
  }

  void hand_in_wall_clock(Tick now) {
    if constexpr (requires { Board::wall_clock(now); }) {
      if (now >= wall_clock_due_) {
        wall_clock_due_ = now + kWallClockEveryMs;
        logger_.on_clock(now, Board::wall_clock(now));
      }
    }
  }

  [[gnu::noinline]] bool hand_in_card(Tick now) {
    const std::optional<CardAnswer> answer = card_.take_answer();
    if (!answer) return false;
    request_open_ = false;
    logger_.on_card(now, *answer);
    return true;
  }

  [[gnu::noinline]] void send() {
    std::array<std::uint8_t, 32> bytes;  // NOLINT: filled before it is read
    while (const std::size_t room = Board::line().room_to_send()) {
      const std::size_t n =
          logger_.take_bytes(std::span(bytes).first(std::min(room, bytes.size())));
      if (n == 0) break;
      Board::line().send(std::span(bytes).first(n));
    }
    if (Board::line().sending()) Board::begin_sending();
  }

  // An answer that came at once was handed in.
  bool use_card(Tick now) {
    if (!request_open_) {
      const std::optional<CardRequest> request = logger_.take_card_request();
      if (!request) return false;
      request_open_ = true;
      card_.begin(now, *request);
    }
    return hand_in_card(now);
  }

  void look_at_card(Tick now) {
    if (now < kRestartNotBeforeMs) return;
    const bool late = card_.state() == CardState::ready && !started_with_card_;
    // What no card was there to be told of is handed on.
    if (late && last_) reset_with(*last_);
    if (late || card_.state() == CardState::changed) restart();
  }

  Clock& clock_;
  typename Board::Spi spi_;
  SdCard<typename Board::Spi> card_;
  std::optional<LastWords> last_;
  bool started_with_card_ = false;
  bool request_open_ = false;
  Tick due_ = 0;
  Tick supply_due_ = 0;
  Tick wall_clock_due_ = 0;
  Logger logger_;
};

// Room in .bss for the one machine of an image: on the stack its size would be
// hidden from the linker, and a static object would want a constructor before main.
template <class Board, class Clock>
[[gnu::noinline]] Machine<Board, Clock>& build_machine(Clock& clock,
                                                       const std::optional<LastWords>& last) {
  alignas(Machine<Board, Clock>) static std::byte room[sizeof(Machine<Board, Clock>)];
  return *new (room) Machine<Board, Clock>(clock, last);
}

}  // namespace packmile::cortex_m
