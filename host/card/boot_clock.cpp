#include "card/boot_clock.hpp"

#include <algorithm>
#include <cstdlib>
#include <vector>

namespace packmile {
namespace {

// Clocks that were never set count from 1970, 1980 or 2000.
constexpr std::int64_t kEarliestUnixMs = 1'577'836'800'000;  // 2020-01-01T00:00:00Z
constexpr std::int64_t kLatestUnixMs = 4'733'510'400'000;    // 2120-01-01T00:00:00Z
// The host's clock at the desk may run ahead of the van's. Common practice, no
// source.
constexpr std::int64_t kPreparedSlackMs = 86'400'000;
// Crystals are within 20-50 ppm; twice that, from memory.
constexpr std::int64_t kDriftPerMillion = 100;
constexpr std::int64_t kAgreeMs = 2'000;

int rank_of(std::uint8_t source) {
  switch (source) {
    case kClockGnss:
      return 3;
    case kClockSystem:
      return 2;
    case kClockRtc:
      return 1;
  }
  return 0;
}

struct Offset {
  std::int64_t offset_ms;
  std::int64_t tick_ms;
  std::int64_t resolution_ms;
};

std::int64_t drift_ms(std::int64_t tick_a, std::int64_t tick_b) {
  return std::abs(tick_a - tick_b) / 1'000'000 * kDriftPerMillion +
         std::abs(tick_a - tick_b) % 1'000'000 * kDriftPerMillion / 1'000'000;
}

}  // namespace

std::string_view clock_source_word(std::uint8_t source) {
  switch (source) {
    case kClockPrepared:
      return "prepared";
    case kClockRtc:
      return "rtc";
    case kClockSystem:
      return "system";
    case kClockGnss:
      return "gnss";
  }
  return "none";
}

BootClock fit_boot_clock(std::span<const ClockSample> readings, std::uint64_t not_before_unix_ms) {
  BootClock clock;
  const std::int64_t not_before =
      not_before_unix_ms > static_cast<std::uint64_t>(kLatestUnixMs)
          ? kEarliestUnixMs
          : std::max(kEarliestUnixMs,
                     static_cast<std::int64_t>(not_before_unix_ms) - kPreparedSlackMs);
  const auto usable = [&](const ClockSample& r) {
    return rank_of(r.source) > 0 && r.unix_ms >= static_cast<std::uint64_t>(not_before) &&
           r.unix_ms < static_cast<std::uint64_t>(kLatestUnixMs) && r.tick_ms <= kLargestTick;
  };
  std::uint8_t best = kClockNone;
  for (const ClockSample& r : readings)
    if (usable(r) && rank_of(r.source) > rank_of(best)) best = r.source;
  std::vector<Offset> offsets;
  for (const ClockSample& r : readings) {
    if (usable(r) && r.source == best)
      offsets.push_back(
          {static_cast<std::int64_t>(r.unix_ms) - static_cast<std::int64_t>(r.tick_ms),
           static_cast<std::int64_t>(r.tick_ms), static_cast<std::int64_t>(r.resolution_ms)});
  }
  clock.rejected = static_cast<std::uint32_t>(readings.size() - offsets.size());
  if (offsets.empty()) return clock;

  // The lower middle one, so that the median is a reading and not between two.
  const auto middle = offsets.begin() + static_cast<std::ptrdiff_t>((offsets.size() - 1) / 2);
  std::nth_element(offsets.begin(), middle, offsets.end(), [](const Offset& a, const Offset& b) {
    return a.offset_ms != b.offset_ms ? a.offset_ms < b.offset_ms : a.tick_ms < b.tick_ms;
  });
  const Offset median = *middle;
  std::int64_t half_width = 0;
  for (const Offset& o : offsets) {
    const std::int64_t apart = std::abs(o.offset_ms - median.offset_ms);
    if (apart > kAgreeMs + drift_ms(o.tick_ms, median.tick_ms)) {
      ++clock.rejected;
      continue;
    }
    ++clock.readings;
    half_width = std::max(half_width, apart + o.resolution_ms);
  }
  // Readings that scatter so that most of them disagree say nothing.
  if (clock.readings * 2 <= offsets.size()) {
    clock.readings = 0;
    clock.rejected = static_cast<std::uint32_t>(readings.size());
    return clock;
  }
  clock.source = best;
  clock.offset_ms = median.offset_ms;
  clock.uncertainty_ms = half_width;
  return clock;
}

void ClockFloor::see(std::span<const ClockSample> readings) {
  if (fit_boot_clock(readings, prepared_unix_ms_).known())
    any_behind_ = true;
  else if (fit_boot_clock(readings, 0).known())
    any_before_ = true;
}

}  // namespace packmile
