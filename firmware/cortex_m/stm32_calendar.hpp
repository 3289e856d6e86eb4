// The calendar registers of an STM32 as a clock reading.
//
// Source    RM0090 26.6.1, 26.6.2 (STM32F405): binary coded decimals, years 2000 to
//           2099, 24 hours. Other parts of the family have the same two registers (from
//           memory): look before you use it for one.
#pragma once
#include <chrono>
#include <cstdint>

#include "core/port.hpp"

namespace packmile::cortex_m {

// `time`, `date`: registers TR and DR, in UTC. Source none where they hold no date.
[[nodiscard]] constexpr WallClockReading read_calendar(std::uint32_t time, std::uint32_t date,
                                                       Tick now) {
  const auto decimal = [](std::uint32_t word, unsigned shift, std::uint32_t tens) {
    return (word >> (shift + 4) & tens) * 10 + (word >> shift & 0xF);
  };
  const std::chrono::year_month_day day{
      std::chrono::year{2000 + static_cast<int>(decimal(date, 16, 0xF))},
      std::chrono::month{decimal(date, 8, 1)}, std::chrono::day{decimal(date, 0, 3)}};
  if (!day.ok()) return {};
  const auto days =
      static_cast<std::uint32_t>(std::chrono::sys_days{day}.time_since_epoch().count());
  const std::uint32_t seconds =
      (decimal(time, 16, 3) * 60 + decimal(time, 8, 7)) * 60 + decimal(time, 0, 7);
  return {.source = WallClockSource::rtc,
          .unix_ms = (std::uint64_t{days} * 86'400 + seconds) * 1'000,
          .tick = now,
          .resolution_ms = 1'000};
}

}  // namespace packmile::cortex_m
