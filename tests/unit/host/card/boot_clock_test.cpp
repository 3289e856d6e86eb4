#include "card/boot_clock.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cstdlib>
#include <vector>

using namespace packmile;

namespace {

constexpr std::uint64_t kBase = 1'767'600'000'000;  // 2026-01-05T08:00:00Z

ClockSample sample(std::uint8_t source, std::uint64_t tick_ms, std::uint64_t unix_ms,
                   std::uint32_t resolution_ms = 1'000) {
  return {source, unix_ms, tick_ms, resolution_ms};
}

}  // namespace

// Check C1 of the analytic rules: ticks 0, 600, .. 2400 s; wall 1000, 1600,
// 2201, 2800, 7001 s: median offset 1000, four kept. Computed with numpy.
TEST_CASE("clock: one reading that jumped is rejected") {
  std::vector<ClockSample> readings;
  const std::uint64_t wall_s[] = {1000, 1600, 2201, 2800, 7001};
  for (std::uint64_t i = 0; i < 5; ++i)
    readings.push_back(sample(kClockRtc, i * 600'000, kBase + wall_s[i] * 1'000));
  const BootClock clock = fit_boot_clock(readings, 0);
  CHECK(clock.source == kClockRtc);
  CHECK(clock.offset_ms == static_cast<std::int64_t>(kBase + 1'000'000));
  CHECK(clock.readings == 4);
  CHECK(clock.rejected == 1);
  CHECK(clock.uncertainty_ms == 2'000);  // one second apart, resolution one second
  // Those at offset 1000 say 1000.0 to 1001.0 s, the one that had ticked over says
  // 1001.0 to 1002.0 s: it is the end of one second and the start of the other,
  // give or take the 0.12 s that 100 ppm are of the 1,200 s from reading to reading.
  const ClockInterval at_third = interval_at(clock.anchors, 1'200'000);
  CHECK(at_third.low_ms == static_cast<std::int64_t>(kBase + 2'201'000));
  CHECK(at_third.high_ms == static_cast<std::int64_t>(kBase + 2'201'000 + 60));
}

// Check C2: 25 readings, three corrupted.
TEST_CASE("clock: three corrupted readings of 25 are the ones rejected") {
  std::vector<ClockSample> readings;
  for (std::uint64_t i = 0; i < 25; ++i)
    readings.push_back(sample(kClockRtc, i * 1'200'000, kBase + i * 1'200'000));
  readings[3].unix_ms += 3'600'000;
  readings[11].unix_ms -= 31'536'000'000;
  readings[20].unix_ms += 7'000;
  const BootClock clock = fit_boot_clock(readings, 0);
  CHECK(clock.readings == 22);
  CHECK(clock.rejected == 3);
  CHECK(std::abs(clock.offset_ms - static_cast<std::int64_t>(kBase)) <= 1'000);
}

// Check C4: 50 ppm of 30 days are 129.6 s (arithmetic).
TEST_CASE("clock: an RTC may have drifted since the card was prepared") {
  constexpr std::uint64_t kMonthMs = 30ull * 86'400'000;
  const std::vector reading{sample(kClockRtc, 0, kBase + kMonthMs)};
  const BootClock clock = fit_boot_clock(reading, kBase, kBase);
  const ClockInterval said = interval_at(clock.anchors, 0);
  CHECK(said.low_ms == static_cast<std::int64_t>(kBase + kMonthMs) - 129'600);
  CHECK(said.high_ms == static_cast<std::int64_t>(kBase + kMonthMs) + 1'000 + 129'600);
  // Other clocks are set all the time; and of no preparation nothing follows.
  const std::vector system{sample(kClockSystem, 0, kBase + kMonthMs)};
  for (const BootClock& sure : {fit_boot_clock(system, kBase, kBase), fit_boot_clock(reading, 0)}) {
    CHECK(interval_at(sure.anchors, 0).low_ms == static_cast<std::int64_t>(kBase + kMonthMs));
    CHECK(interval_at(sure.anchors, 0).high_ms ==
          static_cast<std::int64_t>(kBase + kMonthMs) + 1'000);
  }
}

TEST_CASE("clock: away from its readings the interval widens by 100 ppm") {
  const BootClock clock =
      fit_boot_clock(std::vector{sample(kClockGnss, 0, kBase, 1),
                                 sample(kClockGnss, 10'000'000, kBase + 10'000'000, 1)},
                     0);
  const auto width = [&](Tick tick) {
    const ClockInterval said = interval_at(clock.anchors, tick);
    return said.high_ms - said.low_ms;
  };
  CHECK(width(0) == 1);
  CHECK(width(5'000'000) == 1 + 2 * 500);
  CHECK(width(20'000'000) == 1 + 2 * 1'000);
}

TEST_CASE("clock: one that was set once during the boot holds both times") {
  std::vector<ClockSample> readings;
  constexpr std::int64_t kJumpMs = 7'200'000;
  for (std::uint64_t i = 0; i < 8; ++i)
    readings.push_back(
        sample(kClockSystem, i * 600'000, kBase + i * 600'000 + (i < 4 ? 0 : kJumpMs)));
  const BootClock clock = fit_boot_clock(readings, 0);
  REQUIRE(clock.known());
  CHECK(clock.jumped);
  CHECK(clock.readings == 8);
  CHECK(clock.rejected == 0);
  // What it was set to counts.
  CHECK(clock.offset_ms == static_cast<std::int64_t>(kBase) + kJumpMs);
  const ClockInterval said = interval_at(clock.anchors, 0);
  CHECK(said.low_ms <= static_cast<std::int64_t>(kBase));
  CHECK(said.high_ms >= static_cast<std::int64_t>(kBase) + kJumpMs + 1'000);
  CHECK(said.high_ms - said.low_ms <= kJumpMs + 1'000 + 2 * 420 * 2);
  // The order in which sectors came does not matter.
  std::reverse(readings.begin(), readings.end());
  CHECK(fit_boot_clock(readings, 0).offset_ms == clock.offset_ms);
  // Two jumps say nothing; nor does a jump with a majority behind it, which counts alone.
  auto twice = readings;
  for (std::size_t i = 2; i < 5; ++i) twice[i].unix_ms += 90'000'000;
  CHECK_FALSE(fit_boot_clock(twice, 0).known());
  readings.push_back(sample(kClockSystem, 4'800'000, kBase + 4'800'000 + kJumpMs));
  CHECK_FALSE(fit_boot_clock(readings, 0).jumped);
  CHECK(fit_boot_clock(readings, 0).readings == 5);
}

TEST_CASE("clock: of many readings few anchors are kept, the ends among them") {
  std::vector<ClockSample> readings;
  for (std::uint64_t i = 0; i < 1'000; ++i)
    readings.push_back(sample(kClockSystem, i * 3'600'000, kBase + i * 3'600'000));
  const BootClock clock = fit_boot_clock(readings, 0);
  CHECK(clock.readings == 1'000);
  REQUIRE(clock.anchors.size() == kMostAnchors);
  CHECK(clock.anchors.front().tick_ms == 0);
  CHECK(clock.anchors.back().tick_ms == 999 * 3'600'000ull);
}

TEST_CASE("clock: a better source is believed alone") {
  const BootClock clock = fit_boot_clock(
      std::vector{sample(kClockRtc, 0, kBase), sample(kClockSystem, 0, kBase + 60'000),
                  sample(kClockRtc, 10, kBase)},
      0);
  CHECK(clock.source == kClockSystem);
  CHECK(clock.offset_ms == static_cast<std::int64_t>(kBase + 60'000));
}

TEST_CASE("clock: a clock that was never set, or not read, is none") {
  CHECK_FALSE(fit_boot_clock({}, 0).known());
  CHECK_FALSE(fit_boot_clock(std::vector{sample(kClockRtc, 0, 946'684'800'000)}, 0).known());
  CHECK_FALSE(fit_boot_clock(std::vector{sample(kClockPrepared, 0, kBase)}, 0).known());
  CHECK_FALSE(fit_boot_clock(std::vector{sample(99, 0, kBase)}, 0).known());
  // A day and more before the card was prepared.
  CHECK_FALSE(fit_boot_clock(std::vector{sample(kClockRtc, 0, kBase)}, kBase + 90'000'000).known());
  CHECK(fit_boot_clock(std::vector{sample(kClockRtc, 0, kBase)}, kBase + 80'000'000).known());
  // Two that contradict each other: neither.
  CHECK_FALSE(
      fit_boot_clock(
          std::vector{sample(kClockRtc, 0, kBase), sample(kClockRtc, 10, kBase + 9'000'000)}, 0)
          .known());
}

TEST_CASE("clock: a card whose clocks all lie before its preparation keeps them, and says so") {
  const std::vector early{sample(kClockRtc, 0, kBase)};
  const std::vector late{sample(kClockRtc, 0, kBase + 400'000'000)};
  const std::uint64_t prepared = kBase + 300'000'000;
  ClockFloor floor(prepared);
  CHECK_FALSE(floor.before_prepared());
  floor.see(early);
  CHECK(floor.before_prepared());
  CHECK(fit_boot_clock(early, floor.not_before_unix_ms()).known());
  // Another boot had a clock: the early one was never set.
  floor.see(late);
  CHECK_FALSE(floor.before_prepared());
  CHECK_FALSE(fit_boot_clock(early, floor.not_before_unix_ms()).known());
  // A clock that was never set is none, whatever the card says.
  ClockFloor unset(prepared);
  unset.see(std::vector{sample(kClockRtc, 0, 946'684'800'000)});
  CHECK_FALSE(unset.before_prepared());
}

TEST_CASE("clock: values that no clock shows do no harm") {
  const auto most = ~std::uint64_t{0};
  CHECK_FALSE(fit_boot_clock(std::vector{sample(kClockRtc, most, most)}, most).known());
  CHECK_FALSE(fit_boot_clock(std::vector{sample(kClockRtc, most, kBase)}, 0).known());
  CHECK(fit_boot_clock(std::vector{sample(kClockRtc, 0, kBase)}, most).known());
}
