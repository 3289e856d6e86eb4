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

// Whoever sees what passes between the core and its port.
class PortWatch {
 public:
  PortWatch() = default;
  PortWatch(const PortWatch&) = delete;
  PortWatch& operator=(const PortWatch&) = delete;
  virtual ~PortWatch() = default;
  virtual void to_core(Tick now, std::span<const std::uint8_t> bytes) = 0;
  virtual void from_core(Tick now, std::span<const std::uint8_t> bytes) = 0;
  // Before and after each call of the core.
  virtual void core_begins() = 0;
  virtual void core_ends() = 0;
};

// What is wrong with the card at present.
struct CardTrouble {
  Nanos busy_ns = 0;  // how long it takes over a write
  bool refuses_writes = false;
};

class Clockwork {
 public:
  struct Setup {
    std::uint32_t entropy = 0;  // of the boot
    // UTC of the bench's zero, when it is known from the start; the clock is
    // then read at power-up and once an hour.
    std::optional<std::int64_t> origin_unix_ms{};
    // False: the port has no way to measure the supply.
    bool supply_measured = true;
    BootCause reset_cause = BootCause::power_on;
    Nanos power_up_ns = 0;       // the bench's time of the boot
    PortWatch* watch = nullptr;  // null: nobody watches
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

  // From the next write on.
  void set_card_trouble(const CardTrouble& trouble) { trouble_ = trouble; }
  // Its supply can be measured from now on, or no longer.
  void set_supply_measured(bool measured);

  // The wall clock that the port reads now: unix time of a moment that has been.
  void give_clock(Nanos at_ns, std::int64_t unix_ms);
  [[nodiscard]] Nanos now_ns() const { return now_ns_; }
  [[nodiscard]] const Logger& logger() const { return logger_; }

 private:
  // Tells the watch when the core is at work.
  class Watched {
   public:
    explicit Watched(PortWatch* watch) : watch_(watch) {
      if (watch_ != nullptr) watch_->core_begins();
    }
    Watched(const Watched&) = delete;
    Watched& operator=(const Watched&) = delete;
    ~Watched() {
      if (watch_ != nullptr) watch_->core_ends();
    }

   private:
    PortWatch* watch_;
  };

  void step(Nanos end_ns);
  void turn(bool time_is_due);
  [[nodiscard]] Tick tick() const { return tick_of(now_ns_); }
  [[nodiscard]] Tick tick_of(Nanos at_ns) const {
    return static_cast<Tick>((at_ns - setup_.power_up_ns) / kNanosPerMs);
  }
  // Every call of the core.
  template <typename Call>
  decltype(auto) in_core(Call call) {
    const Watched watched(setup_.watch);
    return call();
  }
  void answer_card();
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
  CardTrouble trouble_;
  // What the card is busy with, and when it will answer.
  std::optional<CardRequest> card_request_;
  Nanos card_answers_ns_ = kNever;
};

}  // namespace packmile::benchvan
