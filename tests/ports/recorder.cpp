#include "ports/recorder.hpp"

#include <algorithm>
#include <array>
#include <cinttypes>
#include <string>

#include "benchvan/bench_error.hpp"

namespace packmile::ports {
namespace {

using benchvan::kNanosPerMs;

// Of the first turn: a port has its card ready by then.
constexpr Tick kFirstTick = 200;
// Of the bench's zero: 2026-01-05T06:00:00Z.
constexpr std::uint64_t kStartUnixMs = 1'767'592'800'000;
constexpr unsigned kHoldEvery = 11;
constexpr Tick kHoldAtMostMs = 400;
constexpr Tick kStopWithinMs = 60'000;
// A port's buffer of received bytes.
constexpr std::size_t kMostBytes = 512;

}  // namespace

Recorder::Recorder(benchvan::Bench& bench, benchvan::Scene& scene, benchvan::CardFile& card,
                   std::FILE* script)
    : bench_(bench), scene_(scene), card_(card), script_(script) {}

Tick Recorder::tick() const {
  return kFirstTick + static_cast<Tick>((now_ns_ - boot_ns_) / kNanosPerMs);
}

void Recorder::boot(std::uint32_t entropy) {
  boot_ns_ = now_ns_;
  bench_.logger_starts();
  received_.clear();
  held_until_.reset();
  const Boot boot{.tick = kFirstTick,
                  .entropy = entropy,
                  .unix_ms = kStartUnixMs + static_cast<std::uint64_t>(now_ns_ / kNanosPerMs)};
  std::vector<std::uint8_t> sent;
  port_ = std::make_unique<VirtualPort>(card_, boot, sent);
  std::fprintf(script_, "boot %" PRIu64 " %" PRIu32 " %" PRIu64 " ", boot.tick, boot.entropy,
               boot.unix_ms);
  put(sent);
  put_due();
  bench_.on_host_bytes(now_ns_, sent);
}

void Recorder::run_until(Nanos end_ns) {
  while (now_ns_ < end_ns) {
    const Nanos bench_ns = std::min({bench_.next_event_ns(), scene_.next_change_ns(), end_ns});
    const Nanos bench_ms = (bench_ns - boot_ns_ + kNanosPerMs - 1) / kNanosPerMs;
    const Tick next = std::max(
        tick(),
        std::min(port_->due(), kFirstTick + static_cast<Tick>(std::max<Nanos>(0, bench_ms))));
    now_ns_ = std::max(now_ns_, boot_ns_ + static_cast<Nanos>(next - kFirstTick) * kNanosPerMs);

    bench_.advance(now_ns_);
    // Asking moves the scene past its change.
    (void)scene_.awake(now_ns_);
    const std::size_t before = received_.size();
    std::array<std::uint8_t, 256> bytes;
    while (const std::size_t count = bench_.take_host_bytes(now_ns_, bytes)) {
      if (!unplugged_)
        received_.insert(received_.end(), bytes.begin(),
                         bytes.begin() + static_cast<std::ptrdiff_t>(count));
    }
    if (received_.size() > kMostBytes)
      throw benchvan::BenchError("more bytes in a turn than a port holds");
    const Tick due = port_->due();
    if (before == 0 && !received_.empty() && ++batches_ % kHoldEvery == 0 && due > tick() &&
        due - tick() <= kHoldAtMostMs)
      held_until_ = due;
    if (held_until_ && tick() >= *held_until_) held_until_.reset();
    const bool brings_bytes = !received_.empty() && !held_until_;
    if (brings_bytes || tick() >= due) {
      if (brings_bytes && tick() >= due) ++coincidences_;
      take_turn("-");
    }
  }
}

void Recorder::take_turn(std::string_view event) {
  std::vector<std::uint8_t> got;
  if (!held_until_) got.swap(received_);
  std::vector<std::uint8_t> sent;
  if (event == "-") {
    port_->turn(tick(), got, sent);
  } else if (event == "stop") {
    port_->stop(tick(), sent);
  } else {
    port_->link(tick(), event == "up" ? AdapterLink::up : AdapterLink::lost, sent);
  }
  std::fprintf(script_, "turn %" PRIu64 " %s ", tick(), std::string(event).c_str());
  put(got);
  put(sent);
  put_due();
  ++turns_;
  if (!unplugged_ && !sent.empty()) bench_.on_host_bytes(now_ns_, sent);
}

void Recorder::pull_adapter(Tick away_ms) {
  received_.clear();
  held_until_.reset();
  unplugged_ = true;
  take_turn("lost");
  run_until(now_ns_ + static_cast<Nanos>(away_ms) * kNanosPerMs);
  unplugged_ = false;
  take_turn("up");
}

void Recorder::stop() {
  received_.clear();
  held_until_.reset();
  take_turn("stop");
  const Nanos end_ns = now_ns_ + static_cast<Nanos>(kStopWithinMs) * kNanosPerMs;
  while (!port_->logger().stopped() && now_ns_ < end_ns) run_until(now_ns_ + kNanosPerMs);
  if (!port_->logger().stopped()) throw benchvan::BenchError("the logger core did not stop");
}

void Recorder::cut() {
  std::fputs("cut\n", script_);
  port_.reset();
}

void Recorder::put(std::span<const std::uint8_t> bytes) {
  if (bytes.empty()) std::fputc('-', script_);
  for (const std::uint8_t byte : bytes) std::fprintf(script_, "%02x", byte);
  std::fputc(' ', script_);
}

void Recorder::put_due() {
  if (port_->due() == kNoDeadline)
    std::fputs("-\n", script_);
  else
    std::fprintf(script_, "%" PRIu64 "\n", port_->due());
}

}  // namespace packmile::ports
