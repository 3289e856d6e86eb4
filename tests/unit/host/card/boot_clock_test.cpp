#include "card/boot_clock.hpp"

#include <doctest/doctest.h>

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
