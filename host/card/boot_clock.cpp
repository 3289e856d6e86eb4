#include "card/boot_clock.hpp"

#include <algorithm>
#include <cstdlib>
#include <limits>
#include <optional>
#include <utility>
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

// An RTC's own drift: 20-50 ppm, from memory.
constexpr std::int64_t kRtcDriftPerMillion = 50;
// One reading on its own is no sign that a clock was set.
constexpr std::size_t kLeastOfPart = 2;

struct Offset {
  std::int64_t offset_ms;
  std::int64_t tick_ms;
  std::int64_t resolution_ms;
};

std::int64_t per_million(std::int64_t elapsed_ms, std::int64_t ppm) {
  constexpr std::int64_t kMillion = 1'000'000;
  const std::int64_t all = std::abs(elapsed_ms);
  return all / kMillion * ppm + (all % kMillion * ppm + kMillion - 1) / kMillion;
}

// Those of a range that agree with its median.
struct Agreed {
  std::int64_t offset_ms = 0;
  std::int64_t half_width_ms = 0;
  std::vector<Offset> readings;  // in the order of the range
  [[nodiscard]] bool majority_of(std::size_t all) const { return readings.size() * 2 > all; }
};

Agreed agreed_of(std::span<const Offset> offsets) {
  std::vector<Offset> sorted(offsets.begin(), offsets.end());
  // The lower middle one, so that the median is a reading and not between two.
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>((sorted.size() - 1) / 2);
  std::nth_element(sorted.begin(), middle, sorted.end(), [](const Offset& a, const Offset& b) {
    return a.offset_ms != b.offset_ms ? a.offset_ms < b.offset_ms : a.tick_ms < b.tick_ms;
  });
  const Offset median = *middle;
  Agreed out;
  out.offset_ms = median.offset_ms;
  for (const Offset& o : offsets) {
    const std::int64_t apart = std::abs(o.offset_ms - median.offset_ms);
    if (apart > kAgreeMs + drift_ms(o.tick_ms - median.tick_ms)) continue;
    out.readings.push_back(o);
    out.half_width_ms = std::max(out.half_width_ms, apart + o.resolution_ms);
  }
  return out;
}

// Before and behind the largest change from one reading to the next, where each
// side has a majority of its own. `offsets` in order of ticks.
std::optional<std::pair<Agreed, Agreed>> parts_of(std::span<const Offset> offsets) {
  std::size_t change = 0;
  std::int64_t largest = 0;
  for (std::size_t i = 1; i < offsets.size(); ++i) {
    const std::int64_t step = std::abs(offsets[i].offset_ms - offsets[i - 1].offset_ms);
    if (step <= largest) continue;
    largest = step;
    change = i;
  }
  if (change < kLeastOfPart || offsets.size() - change < kLeastOfPart) return std::nullopt;
  Agreed before = agreed_of(offsets.first(change));
  Agreed behind = agreed_of(offsets.subspan(change));
  if (!before.majority_of(change) || !behind.majority_of(offsets.size() - change))
    return std::nullopt;
  return std::pair{std::move(before), std::move(behind)};
}

// Every one of few, else evenly taken, the first and the last among them.
std::vector<ClockAnchor> anchors_of(std::span<const Offset> readings, std::int64_t rtc_right_ms) {
  std::vector<ClockAnchor> anchors;
  const std::size_t n = std::min(readings.size(), kMostAnchors);
  for (std::size_t k = 0; k < n; ++k) {
    const Offset& o = readings[n == 1 ? 0 : k * (readings.size() - 1) / (n - 1)];
    const std::int64_t unix_ms = o.offset_ms + o.tick_ms;
    const std::int64_t rtc_ms =
        rtc_right_ms == 0 ? 0 : per_million(unix_ms - rtc_right_ms, kRtcDriftPerMillion);
    anchors.push_back(
        {static_cast<Tick>(o.tick_ms), unix_ms - rtc_ms, unix_ms + o.resolution_ms + rtc_ms});
  }
  return anchors;
}

// One anchor at tick 0 for both times of a clock that was set.
ClockAnchor both_of(std::span<const ClockAnchor> before, std::span<const ClockAnchor> behind) {
  const auto at_zero = [](const ClockAnchor& a) {
    const auto tick = static_cast<std::int64_t>(a.tick_ms);
    return ClockInterval{a.low_ms - tick - drift_ms(tick), a.high_ms - tick + drift_ms(tick)};
  };
  const ClockInterval first = at_zero(before.front());
  ClockAnchor both{0, first.low_ms, first.high_ms};
  for (const auto& part : {before, behind}) {
    for (const ClockAnchor& anchor : part) {
      const ClockInterval said = at_zero(anchor);
      both.low_ms = std::min(both.low_ms, said.low_ms);
      both.high_ms = std::max(both.high_ms, said.high_ms);
    }
  }
  return both;
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

std::int64_t drift_ms(std::int64_t elapsed_ms) { return per_million(elapsed_ms, kDriftPerMillion); }

ClockInterval interval_at(std::span<const ClockAnchor> anchors, Tick tick_ms) {
  ClockInterval both{std::numeric_limits<std::int64_t>::min(),
                     std::numeric_limits<std::int64_t>::max()};
  ClockInterval any{both.high_ms, both.low_ms};
  for (const ClockAnchor& anchor : anchors) {
    const std::int64_t elapsed =
        static_cast<std::int64_t>(tick_ms) - static_cast<std::int64_t>(anchor.tick_ms);
    const std::int64_t low = anchor.low_ms + elapsed - drift_ms(elapsed);
    const std::int64_t high = anchor.high_ms + elapsed + drift_ms(elapsed);
    both = {std::max(both.low_ms, low), std::min(both.high_ms, high)};
    any = {std::min(any.low_ms, low), std::max(any.high_ms, high)};
  }
  return both.low_ms <= both.high_ms ? both : any;
}

BootClock fit_boot_clock(std::span<const ClockSample> readings, std::uint64_t not_before_unix_ms,
                         std::uint64_t rtc_right_unix_ms) {
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
  clock.rejected = static_cast<std::uint32_t>(readings.size());
  if (offsets.empty()) return clock;
  std::stable_sort(offsets.begin(), offsets.end(),
                   [](const Offset& a, const Offset& b) { return a.tick_ms < b.tick_ms; });
  const bool rtc = best == kClockRtc && rtc_right_unix_ms != 0 &&
                   rtc_right_unix_ms < static_cast<std::uint64_t>(kLatestUnixMs);
  const std::int64_t rtc_right_ms = rtc ? static_cast<std::int64_t>(rtc_right_unix_ms) : 0;

  Agreed agreed = agreed_of(offsets);
  std::vector<ClockAnchor> anchors;
  if (agreed.majority_of(offsets.size())) {
    anchors = anchors_of(agreed.readings, rtc_right_ms);
  } else {
    // Readings that scatter so that most of them disagree say nothing, unless
    // they change once.
    auto parts = parts_of(offsets);
    if (!parts) return clock;
    auto& [before, behind] = *parts;
    anchors = {both_of(anchors_of(before.readings, rtc_right_ms),
                       anchors_of(behind.readings, rtc_right_ms))};
    clock.jumped = true;
    behind.half_width_ms = std::abs(behind.offset_ms - before.offset_ms) +
                           std::max(before.half_width_ms, behind.half_width_ms);
    behind.readings.insert(behind.readings.end(), before.readings.begin(), before.readings.end());
    agreed = std::move(behind);
  }
  clock.source = best;
  clock.offset_ms = agreed.offset_ms;
  clock.uncertainty_ms = agreed.half_width_ms;
  clock.readings = static_cast<std::uint32_t>(agreed.readings.size());
  clock.rejected -= clock.readings;
  clock.anchors = std::move(anchors);
  return clock;
}

void ClockFloor::see(std::span<const ClockSample> readings) {
  if (fit_boot_clock(readings, prepared_unix_ms_).known())
    any_behind_ = true;
  else if (fit_boot_clock(readings, 0).known())
    any_before_ = true;
}

}  // namespace packmile
