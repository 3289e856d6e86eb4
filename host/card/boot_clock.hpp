// A boot's wall clock from the readings in its session records.
//
// Method    unix ms = tick + offset, rate 1; of the best source that was read,
//           the median of the offsets; readings within 2 s and 100 ppm of it
//           agree, and a majority must. Source rank: GNSS, system, RTC.
// Jump      where there is no majority but one change, with readings that agree
//           on each side of it, the clock was set once: its time after that
//           counts, and the interval holds both.
// Interval  a reading says that the time lies in [reading, reading + resolution];
//           away from it that widens by 100 ppm of the logger's tick. An RTC is
//           taken to have been right when the card was prepared, and to have
//           drifted by at most 50 ppm since; unknown where that is not known.
// Output    the offset and how far it can be wrong, or that there is none.
#pragma once
#include <cstdint>
#include <span>
#include <string_view>
#include <vector>

#include "card/record_decoder.hpp"
#include "tick.hpp"

namespace packmile {

// Values of packmile.ClockSource.
inline constexpr std::uint8_t kClockNone = 0;
inline constexpr std::uint8_t kClockPrepared = 1;
inline constexpr std::uint8_t kClockRtc = 2;
inline constexpr std::uint8_t kClockSystem = 3;
inline constexpr std::uint8_t kClockGnss = 4;
// As in rows: none, prepared, rtc, system, gnss.
[[nodiscard]] std::string_view clock_source_word(std::uint8_t source);

struct ClockSample {
  std::uint8_t source = kClockNone;
  std::uint64_t unix_ms = 0;
  Tick tick_ms = 0;
  std::uint32_t resolution_ms = 0;

  bool operator==(const ClockSample&) const = default;
};

// How far the logger's tick can run off in so long a time, rounded up:
// crystals are within 20-50 ppm; twice that, from memory.
[[nodiscard]] std::int64_t drift_ms(std::int64_t elapsed_ms);

// At this tick the time was in [low_ms, high_ms], unix ms.
struct ClockAnchor {
  Tick tick_ms = 0;
  std::int64_t low_ms = 0;
  std::int64_t high_ms = 0;

  bool operator==(const ClockAnchor&) const = default;
};
// Of the readings of a boot so many are kept, evenly taken.
inline constexpr std::size_t kMostAnchors = 64;

struct ClockInterval {
  std::int64_t low_ms = 0;
  std::int64_t high_ms = 0;
};
// What the anchors together say about the time at a tick, unix ms; where they
// contradict each other, all that any of them says. There must be one.
[[nodiscard]] ClockInterval interval_at(std::span<const ClockAnchor> anchors, Tick tick_ms);

struct BootClock {
  std::uint8_t source = kClockNone;  // kClockNone: no clock, the rest is 0
  std::int64_t offset_ms = 0;        // unix ms = tick + offset_ms
  std::int64_t uncertainty_ms = 0;   // half-width of what the readings say
  bool jumped = false;               // the clock was set during the boot
  // In order of ticks. Of a clock that jumped: one, that holds both times.
  std::vector<ClockAnchor> anchors{};
  std::uint32_t readings = 0;  // that agree
  std::uint32_t rejected = 0;

  [[nodiscard]] bool known() const { return source != kClockNone; }
};

// Readings before `not_before_unix_ms` (when the card was prepared; 0: not
// known), before 2020, or after 2120 come from a clock that was never set.
// `rtc_right_unix_ms`: when an RTC was right last; 0: not known.
[[nodiscard]] BootClock fit_boot_clock(std::span<const ClockSample> readings,
                                       std::uint64_t not_before_unix_ms,
                                       std::uint64_t rtc_right_unix_ms = 0);

// What the readings of one card must not lie before. That is its preparation,
// unless every clock that the card saw lies before it: then the desk's clock is
// as likely wrong as the van's, and the readings are taken, with a finding.
class ClockFloor {
 public:
  // 0: not known.
  explicit ClockFloor(std::uint64_t prepared_unix_ms) : prepared_unix_ms_(prepared_unix_ms) {}
  // The readings of one boot; every boot before the first question.
  void see(std::span<const ClockSample> readings);

  [[nodiscard]] bool before_prepared() const { return any_before_ && !any_behind_; }
  [[nodiscard]] std::uint64_t not_before_unix_ms() const {
    return before_prepared() ? 0 : prepared_unix_ms_;
  }

 private:
  std::uint64_t prepared_unix_ms_;
  bool any_before_ = false;
  bool any_behind_ = false;
};

}  // namespace packmile
