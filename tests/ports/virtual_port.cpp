#include "ports/virtual_port.hpp"

#include <algorithm>
#include <array>
#include <optional>

#include "benchvan/bench_error.hpp"

namespace packmile::ports {
namespace {

// More turns than this at one tick would never end.
constexpr unsigned kMaxTurnsAtOnce = 100'000;
constexpr Tick kSleepsOverMs = 2;

}  // namespace

VirtualPort::VirtualPort(benchvan::CardFile& card, const Boot& boot,
                         std::vector<std::uint8_t>& sent, Breach breach)
    : card_(card),
      breach_(breach),
      now_(boot.tick),
      logger_({.card_sectors = card.sectors(),
               .layout = card.layout(),
               .reset_cause = BootCause::power_on,
               .entropy = boot.entropy}) {
  logger_.on_clock(now_, {.source = WallClockSource::system,
                          .unix_ms = boot.unix_ms,
                          .tick = now_,
                          .resolution_ms = 1});
  link(now_, AdapterLink::up, sent);
}

void VirtualPort::turn(Tick now, std::span<const std::uint8_t> bytes,
                       std::vector<std::uint8_t>& sent) {
  const Tick before = now_;
  now_ = std::max(now_, now);
  if (breach_ == Breach::time_first && now_ >= logger_.deadline()) logger_.on_time(now_);
  if (!bytes.empty()) logger_.on_bytes(breach_ == Breach::tick_behind ? before : now_, bytes);
  if (breach_ == Breach::time_forgotten && !bytes.empty()) {
    send(sent);
    return;
  }
  settle(sent);
}

void VirtualPort::link(Tick now, AdapterLink link, std::vector<std::uint8_t>& sent) {
  now_ = std::max(now_, now);
  logger_.on_adapter(now_, link);
  settle(sent);
}

void VirtualPort::stop(Tick now, std::vector<std::uint8_t>& sent) {
  now_ = std::max(now_, now);
  logger_.on_stop(now_);
  settle(sent);
}

Tick VirtualPort::due() const {
  const Tick due = logger_.deadline();
  return breach_ == Breach::late && due != kNoDeadline ? due + kSleepsOverMs : due;
}

void VirtualPort::settle(std::vector<std::uint8_t>& sent) {
  for (unsigned i = 0; i < kMaxTurnsAtOnce; ++i) {
    if (now_ >= logger_.deadline()) logger_.on_time(now_);
    do {
      send(sent);
    } while (use_card());
    if (now_ < logger_.deadline() || breach_ == Breach::one_take) return;
  }
  throw benchvan::BenchError("the logger core does not let time go on");
}

void VirtualPort::send(std::vector<std::uint8_t>& sent) {
  std::array<std::uint8_t, 128> bytes;
  const auto room = std::span(bytes).first(breach_ == Breach::one_take ? 8 : bytes.size());
  while (const std::size_t count = logger_.take_bytes(room)) {
    sent.insert(sent.end(), bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(count));
    if (breach_ == Breach::one_take) return;
  }
}

bool VirtualPort::use_card() {
  const std::optional<CardRequest> request = logger_.take_card_request();
  if (!request) return false;
  logger_.on_card(now_, card_.serve(*request, sector_));
  return true;
}

}  // namespace packmile::ports
