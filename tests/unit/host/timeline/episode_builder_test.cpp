#include "timeline/episode_builder.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using namespace packmile;

namespace {

constexpr Tick kMinuteTicks = 60'000;
constexpr Tick kHourTicks = 60 * kMinuteTicks;

// One block of one or more rows that is fed by hand.
struct Rows {
  std::uint32_t ecu = 0x7E8;
  std::vector<SignalId> signals;
  std::vector<Tick> ticks;
  std::vector<std::vector<std::uint32_t>> words;  // by signal

  [[nodiscard]] BlockView view() const {
    BlockView block;
    block.ecu = ecu;
    block.period_ms = 200;
    block.rows = ticks.size();
    block.signals = signals.size();
    block.first_tick = ticks[0];
    block.tick_ms = ticks.data();
    for (std::size_t k = 0; k < signals.size(); ++k) {
      block.signal[k] = signals[k];
      block.raw[k] = words[k].data();
    }
    return block;
  }
};

Rows speed_at(std::vector<Tick> ticks, std::uint32_t ecu = 0x7E8) {
  std::vector<std::uint32_t> words(ticks.size(), 50);
  return {ecu, {signal::speed_kmh}, std::move(ticks), {std::move(words)}};
}

Boot boot_of(std::int64_t offset_ms, bool guessed = false) {
  Boot boot;
  boot.clock_offset_ms = offset_ms;
  boot.clock_guessed = guessed;
  boot.series_ecu = {0x7E8, 0x7E8, 0x7E8, 0x7E8, 0x7E8, 0x7E8};
  return boot;
}

// Collects "start-end(rows of speed)" in ms, + for one that goes on.
class Collector {
 public:
  void boot(const Boot& boot) { builder_.begin_boot(boot); }
  void add(const Rows& rows) {
    const BlockView view = rows.view();
    builder_.add_record({&view, 1});
  }
  EpisodeBuilder& builder() { return builder_; }
  std::string finish() {
    builder_.finish();
    return text_;
  }
  Episode last;

 private:
  std::string text_;
  std::function<bool(const Episode&)> visit_ = [this](const Episode& e) {
    text_ += std::to_string(e.start.time_since_epoch().count()) + "-" +
             std::to_string(e.end.time_since_epoch().count()) + "(" +
             std::to_string(e.speed.raw.size()) + ")" + (e.cut ? "+ " : " ");
    last = e;
    return true;
  };
  EpisodeBuilder builder_{visit_};
};

}  // namespace

TEST_CASE("episodes: a silence longer than 16 minutes splits, a shorter one does not") {
  const Boot boot = boot_of(1'000'000);
  Collector c;
  c.boot(boot);
  c.add(speed_at({0, 1'000}));
  c.add(speed_at({1'000 + 16 * kMinuteTicks}));
  c.add(speed_at({1'000 + 32 * kMinuteTicks + 1}));
  CHECK(c.finish() == "1000000-1961000(3) 2921001-2921001(1) ");
}

TEST_CASE("episodes: how far their times may be off") {
  Boot boot = boot_of(1'000'000);
  Episode e;
  const auto build = [&] {
    Collector c;
    c.boot(boot);
    c.add(speed_at({0, 300'000}));
    c.add(speed_at({600'000}));
    (void)c.finish();
    e = c.last;
    return e;
  };
  const auto at = [](std::int64_t ms) { return UtcTime{std::chrono::milliseconds{ms}}; };
  CHECK(build().start_doubt == TimeDoubt{0, 0});
  CHECK(e.doubt_of(at(1'300'000)) == TimeDoubt{0, 0});
  // Read at tick 0 to a second: at the end 100 ppm of 600 s more.
  boot.clock_anchors = {{0, 1'000'000, 1'001'000}};
  CHECK(build().start_doubt == TimeDoubt{0, 1'000});
  CHECK(e.end_doubt == TimeDoubt{60, 1'060});
  CHECK(e.doubt_of(at(1'100'000)) == TimeDoubt{10, 1'010});
  // Two readings: in between more than at either.
  boot.clock_anchors.push_back({600'000, 1'600'000, 1'601'000});
  CHECK(build().end_doubt == TimeDoubt{0, 1'000});
  CHECK(e.doubt_of(at(1'300'000)).too_early_ms == 1'030);
  // Without a clock, from when to when, or nothing.
  boot.clock_guessed = true;
  boot.clock_anchors.clear();
  boot.last_tick = 600'000;
  boot.earliest_start_ms = 900'000;
  CHECK(build().start_doubt == TimeDoubt{100'000, std::nullopt});
  CHECK(e.doubt_of(at(1'300'000)) == TimeDoubt{100'030, std::nullopt});
  boot.latest_end_ms = 1'700'000;
  CHECK(build().end_doubt.too_early_ms == 100'000);
  CHECK(e.start_doubt.too_early_ms == 100'060);
}

TEST_CASE("episodes: of two boots that are joined every time is as unsure as the worse clock") {
  Boot first = boot_of(0);
  first.clock_anchors = {{0, 0, 1'000}};
  Boot second = boot_of(600'000);
  second.clock_anchors = {{0, 570'000, 631'000}};
  Collector c;
  c.boot(first);
  c.add(speed_at({0, 10'000}));
  c.boot(second);
  c.add(speed_at({0, 10'000}));
  CHECK(c.finish() == "0-610000(4) ");
  CHECK(c.last.start_doubt == TimeDoubt{30'001, 31'001});
  CHECK(c.last.end_doubt == c.last.start_doubt);
}

TEST_CASE("episodes: any signal breaks the silence, also one that no series holds") {
  const Boot boot = boot_of(0);
  Collector c;
  c.boot(boot);
  c.add(speed_at({0}));
  c.add({0x7E9, {signal::coolant_c}, {10 * kMinuteTicks}, {{5}}});
  c.add(speed_at({20 * kMinuteTicks}));
  CHECK(c.finish() == "0-1200000(2) ");
}

TEST_CASE("episodes: a silence inside one sector splits as well") {
  const Boot boot = boot_of(0);
  Collector c;
  c.boot(boot);
  c.add(speed_at({0, 1'000, kHourTicks, kHourTicks + 1'000, kHourTicks + 2'000}));
  CHECK(c.finish() == "0-1000(2) 3600000-3602000(3) ");
}

TEST_CASE("episodes: two days are the limit, and the part before says that it goes on") {
  const Boot boot = boot_of(0);
  Collector c;
  c.boot(boot);
  for (Tick t = 0; t <= 49 * kHourTicks; t += 10 * kMinuteTicks) c.add(speed_at({t}));
  CHECK(c.finish() == "0-172800000(289)+ 173400000-176400000(6) ");
}

TEST_CASE("episodes: boots join over a short silence, not when a clock was guessed") {
  const Boot first = boot_of(0);
  const Boot second = boot_of(5 * static_cast<std::int64_t>(kMinuteTicks));
  const Boot third = boot_of(10 * static_cast<std::int64_t>(kMinuteTicks), true);
  Collector c;
  c.boot(first);
  c.add(speed_at({0, 1'000}));
  c.boot(second);
  c.add(speed_at({0, 1'000}));
  c.boot(third);
  c.add(speed_at({0, 1'000}));
  CHECK(c.finish() == "0-301000(4) 600000-601000(2) ");
  CHECK(c.last.clock_guessed);
}

TEST_CASE("episodes: no time twice") {
  Collector c;
  const Boot first = boot_of(0);
  c.boot(first);
  c.add(speed_at({0, 200, 400}));
  c.add(speed_at({0, 200, 400}));  // written twice
  c.add(speed_at({400, 600}));
  CHECK_FALSE(c.builder().time_overlapped());
  // The first boot goes on after a silence; the second one claims times in the
  // silence, which comes too late, and times after it.
  c.add(speed_at({kHourTicks, kHourTicks + 200}));
  const Boot second = boot_of(100);
  c.boot(second);
  c.add(speed_at({30 * kMinuteTicks, kHourTicks, kHourTicks + 100, kHourTicks + 300}));
  c.add({0x7E8, {signal::soc_pct}, {kHourTicks + 50}, {{9}}});
  CHECK(c.finish() == "0-600(4) 3600000-3600400(3) ");
  CHECK(c.builder().time_overlapped());
  CHECK(c.last.soc.raw.empty());
}

TEST_CASE("episodes: pack rows count only where voltage and current are supported") {
  const Boot boot = boot_of(0);
  Collector c;
  c.boot(boot);
  const Rows rows{0x7E8,
                  {signal::pack_support, signal::pack_v, signal::pack_a},
                  {0, 200, 400, 600, 800},
                  {{6, 7, 4, 2, 6}, {10, 11, 12, 13, 14}, {0xFFFF, 21, 22, 23, 24}}};
  c.add(rows);
  CHECK(c.finish() == "0-800(0) ");
  CHECK(c.last.pack.time_ms == std::vector<std::int64_t>{0, 200, 800});
  CHECK(c.last.pack.v_raw == std::vector<std::uint16_t>{10, 11, 14});
  CHECK(c.last.pack.a_raw == std::vector<std::uint16_t>{0xFFFF, 21, 24});
  CHECK(c.last.pack.period_ms == std::vector<std::uint32_t>{200, 200, 200});
  CHECK(c.last.pack.rows_not_supported == 2);
  CHECK(c.last.pack.ecu == 0x7E8);
}

TEST_CASE("episodes: another calibration is another pack controller") {
  Boot first = boot_of(0);
  first.ecus.push_back({0x7E8, "", "CAL-1", {}});
  Boot second = boot_of(60'000);
  second.ecus.push_back({0x7E8, "", "CAL-2", {}});
  Collector c;
  const Rows rows{0x7E8, {signal::pack_v, signal::pack_a}, {0}, {{1}, {2}}};
  c.boot(first);
  c.add(rows);
  c.boot(second);
  c.add(rows);
  CHECK(c.finish() == "0-0(0)+ 60000-60000(0) ");
  CHECK(c.last.pack.calibration_id == "CAL-2");
}

TEST_CASE("episodes: one ECU for each series") {
  const Boot boot = boot_of(0);
  Collector c;
  c.boot(boot);
  c.add(speed_at({0, 200}));
  c.add(speed_at({300, 500}, 0x7EA));
  CHECK(c.finish() == "0-500(2) ");
}

TEST_CASE("episodes: a visitor that has seen enough is not called again") {
  int calls = 0;
  const std::function<bool(const Episode&)> visit = [&](const Episode&) { return ++calls > 9; };
  EpisodeBuilder builder(visit);
  const Boot boot = boot_of(0);
  builder.begin_boot(boot);
  for (Tick t = 0; t < 4; ++t) {
    const Rows rows = speed_at({t * kHourTicks});
    const BlockView view = rows.view();
    builder.add_record({&view, 1});
  }
  builder.finish();
  CHECK(builder.stopped());
  CHECK(calls == 1);
}
