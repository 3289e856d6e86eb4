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

PowerUp power_up_of(const CardFile& card, std::uint32_t entropy, BootCause cause) {
  return {.card_sectors = card.sectors(),
          .layout = card.layout(),
          .reset_cause = cause,
          .entropy = entropy};
}

}  // namespace

Clockwork::Clockwork(Bench& bench, Scene& scene, CardFile& card, const Setup& setup)
    : bench_(bench),
      scene_(scene),
      card_(card),
      setup_(setup),
      logger_(power_up_of(card, setup.entropy, setup.reset_cause)),
      now_ns_(setup.power_up_ns),
      next_supply_ns_(setup.supply_measured ? setup.power_up_ns : kNever) {
  if (setup.origin_unix_ms) next_clock_ns_ = setup.power_up_ns;
  in_core([&] { logger_.on_adapter(0, AdapterLink::up); });
  turn(false);
}

void Clockwork::read_deadline() {
  constexpr Tick kLastTick = static_cast<Tick>(kNever / kNanosPerMs);
  const Tick deadline = logger_.deadline();
  deadline_ns_ = deadline >= kLastTick
                     ? kNever
                     : setup_.power_up_ns + static_cast<Nanos>(deadline) * kNanosPerMs;
}

void Clockwork::set_supply_measured(bool measured) {
  setup_.supply_measured = measured;
  next_supply_ns_ = measured ? now_ns_ : kNever;
}

void Clockwork::step(Nanos end_ns) {
  const Nanos next_ns = std::min({bench_.next_event_ns(), scene_.next_change_ns(), next_supply_ns_,
                                  next_clock_ns_, deadline_ns_, card_answers_ns_, end_ns});
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
    const auto got = std::span(bytes).first(count);
    if (setup_.watch != nullptr) setup_.watch->to_core(tick(), got);
    in_core([&] { logger_.on_bytes(tick(), got); });
    turned = true;
  }
  if (now_ns_ >= card_answers_ns_) {
    answer_card();
    turned = true;
  }
  if (!setup_.supply_measured) {
    // Asking moves the scene past its change.
    if (now_ns_ >= scene_.next_change_ns()) (void)scene_.awake(now_ns_);
  } else if (now_ns_ >= next_supply_ns_ || now_ns_ >= scene_.next_change_ns()) {
    // Asking moves the scene past its change.
    const std::uint16_t supply_mv = scene_.supply_mv(now_ns_);
    in_core([&] { logger_.on_supply(tick(), supply_mv); });
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
  in_core([&] {
    logger_.on_clock(tick(), {.source = WallClockSource::rtc,
                              .unix_ms = static_cast<std::uint64_t>(unix_ms),
                              .tick = tick_of(at_ns),
                              .resolution_ms = 1});
  });
  turn(false);
}

void Clockwork::answer_card() {
  const CardRequest request = *card_request_;
  card_request_.reset();
  card_answers_ns_ = kNever;
  const bool refused = request.operation == CardOperation::write && trouble_.refuses_writes;
  const CardAnswer answer = refused ? CardAnswer{} : card_.serve(request, sector_);
  in_core([&] { logger_.on_card(tick(), answer); });
}

void Clockwork::turn(bool time_is_due) {
  in_core([&] {
    if (time_is_due || tick() >= logger_.deadline()) logger_.on_time(tick());
  });
  std::array<std::uint8_t, 128> bytes;
  for (unsigned i = 0; i < kMaxTurnsAtOnce; ++i) {
    for (std::size_t count; (count = in_core([&] { return logger_.take_bytes(bytes); })) > 0;) {
      const auto sent = std::span<const std::uint8_t>(bytes).first(count);
      if (setup_.watch != nullptr) setup_.watch->from_core(tick(), sent);
      bench_.on_host_bytes(now_ns_, sent);
    }
    const std::optional<CardRequest> request = in_core([&] { return logger_.take_card_request(); });
    if (!request) {
      read_deadline();
      return;
    }
    if (request->operation == CardOperation::write && trouble_.busy_ns > 0) {
      card_request_ = request;
      card_answers_ns_ = now_ns_ + trouble_.busy_ns;
      continue;
    }
    card_request_ = request;
    answer_card();
  }
  throw BenchError("the logger core asks for its card without end");
}

void Clockwork::stop() {
  constexpr Nanos kStopWithinNs = 60 * kNanosPerSecond;
  in_core([&] { logger_.on_stop(tick()); });
  turn(false);
  const Nanos end_ns = now_ns_ + kStopWithinNs;
  run(end_ns, [this] { return logger_.stopped(); });
  if (!logger_.stopped()) throw BenchError("the logger core did not stop within a minute");
}

}  // namespace packmile::benchvan
