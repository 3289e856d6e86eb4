#include "cortex_m/stm32_calendar.hpp"

#include <doctest/doctest.h>

#include <ctime>

namespace {

using packmile::WallClockSource;
using packmile::cortex_m::read_calendar;

std::uint32_t bcd(int value) { return static_cast<std::uint32_t>(value / 10 << 4 | value % 10); }

std::uint32_t time_register(const std::tm& t) {
  return bcd(t.tm_hour) << 16 | bcd(t.tm_min) << 8 | bcd(t.tm_sec);
}

// Week days: 1 Monday .. 7 Sunday, in bits 13 to 15.
std::uint32_t date_register(const std::tm& t) {
  return bcd(t.tm_year - 100) << 16 |
         static_cast<std::uint32_t>(t.tm_wday == 0 ? 7 : t.tm_wday) << 13 | bcd(t.tm_mon + 1) << 8 |
         bcd(t.tm_mday);
}

}  // namespace

// Held to the C library's gmtime: any second of any day of the hundred years.
TEST_CASE("calendar of an STM32: every day from 2000 to 2099 is read as the C library writes it") {
  constexpr std::time_t kBegin = 946'684'800;  // 2000-01-01T00:00:00Z
  int days = 0;
  for (std::time_t at = kBegin;; at += 86'400 + 7, ++days) {
    std::tm t{};
    gmtime_r(&at, &t);
    if (t.tm_year >= 200) break;
    const auto reading = read_calendar(time_register(t), date_register(t), 42);
    REQUIRE(reading.source == WallClockSource::rtc);
    REQUIRE(reading.unix_ms == static_cast<std::uint64_t>(at) * 1'000);
    REQUIRE(reading.tick == 42);
    REQUIRE(reading.resolution_ms == 1'000);
  }
  CHECK(days > 36'500);
}

TEST_CASE("calendar of an STM32: what is no date is no clock") {
  for (const std::uint32_t date :
       {0x0000'0000u, 0x0026'0000u, 0x0026'1300u, 0x0026'0230u, 0x0026'1032u, 0x0026'0400u})
    CHECK(read_calendar(0x0012'0000, date, 0).source == WallClockSource::none);
}
