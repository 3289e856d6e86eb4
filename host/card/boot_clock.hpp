// A boot's wall clock from the readings in its session records.
//
// Method    unix ms = tick + offset, rate 1; of the best source that was read,
//           the median of the offsets; readings within 2 s and 100 ppm of it
//           agree, and a majority must. Source rank: GNSS, system, RTC.
// Output    the offset and how far it can be wrong, or that there is none.
#pragma once
#include <cstdint>
#include <span>
#include <string_view>

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

struct BootClock {
  std::uint8_t source = kClockNone;  // kClockNone: no clock, the rest is 0
  std::int64_t offset_ms = 0;        // unix ms = tick + offset_ms
  std::int64_t uncertainty_ms = 0;   // half-width
  std::uint32_t readings = 0;        // that agree
  std::uint32_t rejected = 0;

  [[nodiscard]] bool known() const { return source != kClockNone; }
};

// Readings before `not_before_unix_ms` (when the card was prepared; 0: not
// known), before 2020, or after 2120 come from a clock that was never set.
[[nodiscard]] BootClock fit_boot_clock(std::span<const ClockSample> readings,
                                       std::uint64_t not_before_unix_ms);

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
