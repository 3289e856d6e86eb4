// Virtual time: turns the real logger core and the bench from event to event,
// a month in seconds.
//
// Turn   exactly the order that is written above class Logger.
// Clock  the core's tick is the bench's time in whole milliseconds, cut down, as
//        a port reads it.
#pragma once
#include <array>
#include <cstdint>
#include <optional>

#include "benchvan/bench.hpp"
#include "benchvan/card_file.hpp"
#include "core/logger.hpp"

namespace packmile::benchvan {

class Clockwork {
 public:
  struct Setup {
    std::uint32_t entropy = 0;  // of the boot
    // UTC of the bench's zero, when it is known from the start; the clock is
    // then read at power-up and once an hour.
    std::optional<std::int64_t> origin_unix_ms{};
    // False: the port has no way to measure the supply.
    bool supply_measured = true;
  };
  // All of them must outlive the clockwork.
  Clockwork(Bench& bench, Scene& scene, CardFile& card, const Setup& setup);

  // Lets everything happen until `end_ns`, or until one event after `stop()` is
  // true. Throws BenchError when the core makes no headway.
  template <typename Stop>
  void run(Nanos end_ns, Stop stop) {
    while (now_ns_ < end_ns && !stop()) step(end_ns);
  }
  void run(Nanos end_ns) {
    run(end_ns, [] { return false; });
  }
  // Stops the core and runs until it has stopped. Throws BenchError when that
  // takes more than a minute.
  void stop();

  // The wall clock that the port reads now: unix time of a moment that has been.
  void give_clock(Nanos at_ns, std::int64_t unix_ms);
  [[nodiscard]] Nanos now_ns() const { return now_ns_; }

 private:
  void step(Nanos end_ns);
  void turn(bool time_is_due);
  [[nodiscard]] Tick tick() const { return static_cast<Tick>(now_ns_ / kNanosPerMs); }
  void read_deadline();

  Bench& bench_;
  Scene& scene_;
  CardFile& card_;
  Setup setup_;
  Logger logger_;
  Nanos now_ns_ = 0;
  Nanos deadline_ns_ = 0;
  Nanos next_supply_ns_ = 0;
  Nanos next_clock_ns_ = kNever;
  Nanos last_progress_ns_ = -1;
  unsigned turns_without_time_ = 0;
  std::array<std::uint8_t, 512> sector_{};
};

}  // namespace packmile::benchvan
