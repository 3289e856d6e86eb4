// The port of a test: class Logger in this process, its turn as it is written above
// that class; or, on request, as it must not be.
#pragma once
#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "benchvan/card_file.hpp"
#include "core/logger.hpp"

namespace packmile::ports {

// What a port is told at power-up; equal for all ports of a script.
struct Boot {
  Tick tick = 0;  // of its first turn
  std::uint32_t entropy = 0;
  std::uint64_t unix_ms = 0;  // of its clock, in that turn
};

// What a port may do wrong.
enum class Breach : std::uint8_t {
  none,
  time_first,      // on_time before the bytes of the same turn
  late,            // sleeps 2 ms beyond the deadline
  time_forgotten,  // no on_time in a turn that has brought bytes
  one_take,        // takes the core's bytes but once in a turn, and few of them
  tick_behind      // hands in bytes with the tick of the turn before
};

class VirtualPort {
 public:
  // `card` must outlive it. Takes the first turn, into `sent`.
  VirtualPort(benchvan::CardFile& card, const Boot& boot, std::vector<std::uint8_t>& sent,
              Breach breach = Breach::none);

  // Turns until nothing moves any more at this tick. Appends to `sent`.
  void turn(Tick now, std::span<const std::uint8_t> bytes, std::vector<std::uint8_t>& sent);
  // The same, with one more input.
  void link(Tick now, AdapterLink link, std::vector<std::uint8_t>& sent);
  void stop(Tick now, std::vector<std::uint8_t>& sent);

  // When the next turn is due, if nothing comes.
  [[nodiscard]] Tick due() const;
  [[nodiscard]] const Logger& logger() const { return logger_; }

 private:
  void settle(std::vector<std::uint8_t>& sent);
  void send(std::vector<std::uint8_t>& sent);
  [[nodiscard]] bool use_card();

  benchvan::CardFile& card_;
  Breach breach_;
  Tick now_;
  Logger logger_;
  std::array<std::uint8_t, 512> sector_{};
};

}  // namespace packmile::ports
