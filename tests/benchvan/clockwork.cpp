#include "benchvan/clockwork.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "benchvan/bench_error.hpp"

namespace packmile::benchvan {
namespace {

// How often a port measures the supply between its changes.
constexpr Nanos kSupplyPeriodNs = 10 * kNanosPerSecond;
constexpr Nanos kClockPeriodNs = 3600 * kNanosPerSecond;
// A core that asks for more turns than this at one moment would never end.
constexpr unsigned kMaxTurnsAtOnce = 100000;

PowerUp power_up_of(const CardFile& card, std::uint32_t entropy) {
  return {.card_sectors = card.sectors(),
          .layout = card.layout(),
          .reset_cause = BootCause::power_on,
          .entropy = entropy};
}

}  // namespace

Clockwork::Clockwork(Bench& bench, Scene& scene, CardFile& card, const Setup& setup)
    : bench_(bench),
      scene_(scene),
      card_(card),
      setup_(setup),
      logger_(power_up_of(card, setup.entropy)) {
  if (setup.origin_unix_ms) next_clock_ns_ = 0;
  if (!setup.supply_measured) next_supply_ns_ = kNever;
  logger_.on_adapter(0, AdapterLink::up);
  turn(false);
}

void Clockwork::read_deadline() {
  constexpr Tick kLastTick = static_cast<Tick>(kNever / kNanosPerMs);
  const Tick deadline = logger_.deadline();
  deadline_ns_ = deadline >= kLastTick ? kNever : static_cast<Nanos>(deadline) * kNanosPerMs;
}

void Clockwork::step(Nanos end_ns) {
  const Nanos next_ns = std::min({bench_.next_event_ns(), scene_.next_change_ns(), next_supply_ns_,
                                  next_clock_ns_, deadline_ns_, end_ns});
  now_ns_ = std::max(now_ns_, next_ns);
  if (now_ns_ != last_progress_ns_) {
    last_progress_ns_ = now_ns_;
    turns_without_time_ = 0;
  } else if (++turns_without_time_ > kMaxTurnsAtOnce) {
    throw BenchError(
        fmt::format("the logger core does not let time go on after {:.3f} s", seconds_of(now_ns_)));
  }
  bench_.advance(now_ns_);

  bool turned = false;
  std::array<std::uint8_t, 256> bytes;
  for (std::size_t count; (count = bench_.take_host_bytes(now_ns_, bytes)) > 0;) {
    logger_.on_bytes(tick(), std::span(bytes).first(count));
    turned = true;
  }
  if (!setup_.supply_measured) {
    // Asking moves the scene past its change.
    if (now_ns_ >= scene_.next_change_ns()) (void)scene_.awake(now_ns_);
  } else if (now_ns_ >= next_supply_ns_ || now_ns_ >= scene_.next_change_ns()) {
    // Asking moves the scene past its change.
    logger_.on_supply(tick(), scene_.supply_mv(now_ns_));
    next_supply_ns_ = std::min(now_ns_ + kSupplyPeriodNs, scene_.next_change_ns());
    turned = true;
  }
  if (now_ns_ >= next_clock_ns_) {
    give_clock(now_ns_, *setup_.origin_unix_ms + now_ns_ / kNanosPerMs);
    next_clock_ns_ = now_ns_ + kClockPeriodNs;
    turned = true;
  }
  const bool time_is_due = now_ns_ >= deadline_ns_;
  if (turned || time_is_due) turn(time_is_due);
}

void Clockwork::give_clock(Nanos at_ns, std::int64_t unix_ms) {
  logger_.on_clock(tick(), {.source = WallClockSource::rtc,
                            .unix_ms = static_cast<std::uint64_t>(unix_ms),
                            .tick = static_cast<Tick>(at_ns / kNanosPerMs),
                            .resolution_ms = 1});
  turn(false);
}

void Clockwork::turn(bool time_is_due) {
  if (time_is_due || tick() >= logger_.deadline()) logger_.on_time(tick());
  std::array<std::uint8_t, 128> bytes;
  for (unsigned i = 0; i < kMaxTurnsAtOnce; ++i) {
    for (std::size_t count; (count = logger_.take_bytes(bytes)) > 0;) {
      bench_.on_host_bytes(now_ns_, std::span(bytes).first(count));
    }
    const std::optional<CardRequest> request = logger_.take_card_request();
    if (!request) {
      read_deadline();
      return;
    }
    logger_.on_card(tick(), card_.serve(*request, sector_));
  }
  throw BenchError("the logger core asks for its card without end");
}

void Clockwork::stop() {
  constexpr Nanos kStopWithinNs = 60 * kNanosPerSecond;
  logger_.on_stop(tick());
  turn(false);
  const Nanos end_ns = now_ns_ + kStopWithinNs;
  run(end_ns, [this] { return logger_.stopped(); });
  if (!logger_.stopped()) throw BenchError("the logger core did not stop within a minute");
}

}  // namespace packmile::benchvan
