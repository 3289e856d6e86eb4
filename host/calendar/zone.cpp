#include "calendar/zone.hpp"

// g++ 12 thinks that the library's parser may leave a variable unset.
#if !defined(__clang__)
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#endif
#include <date/tz.h>

#include <algorithm>
#include <sstream>
#include <stdexcept>

namespace packmile {
namespace {

using std::chrono::milliseconds;

const date::time_zone& zone_of(const void* zone) {
  return *static_cast<const date::time_zone*>(zone);
}

std::string format_local(const void* zone, UtcTime at, const char* how) {
  return date::format(how, date::zoned_time<milliseconds>{&zone_of(zone), at});
}

// First valid instant of a local day. On a day whose midnight is skipped by the
// clocks going forward the library answers with the instant of that change.
UtcTime start_of_day(const date::time_zone& zone, date::local_days day) {
  return zone.to_sys(date::local_time<milliseconds>{day}, date::choose::earliest);
}

bool sane(UtcTime at) {
  // Years that a ledger can meet; also keeps the arithmetic far from overflow.
  constexpr std::int64_t kYear9999Ms = 253'370'764'800'000;
  const auto ms = at.time_since_epoch().count();
  return ms >= 0 && ms < kYear9999Ms;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// In `form` d is any digit, s a sign, and all else itself.
bool is_like(std::string_view text, std::string_view form) {
  return std::ranges::equal(text, form, [](char c, char f) {
    return f == 'd' ? is_digit(c) : f == 's' ? c == '+' || c == '-' : c == f;
  });
}

// 2026-03-01 or 2026-03-01T06:00:00, then perhaps parts of a second and an offset.
// The library reads seconds as a floating-point number, and takes 1E5 for one.
bool has_form_of_time(std::string_view text) {
  constexpr std::string_view kForm = "dddd-dd-ddTdd:dd:dd";
  constexpr std::size_t kDayLength = 10;
  constexpr std::size_t kMostPartDigits = 9;  // nanoseconds
  if (text.size() != kDayLength && text.size() < kForm.size()) return false;
  if (!is_like(text.substr(0, kForm.size()), kForm.substr(0, text.size()))) return false;
  text.remove_prefix(std::min(text.size(), kForm.size()));
  if (text.starts_with('.')) {
    std::size_t digits = 0;
    while (digits + 1 < text.size() && is_digit(text[digits + 1])) ++digits;
    if (digits == 0 || digits > kMostPartDigits) return false;
    text.remove_prefix(digits + 1);
  }
  return text.empty() || text == "Z" || is_like(text, "sdd:dd");
}

template <typename T>
bool parse_whole(std::string_view text, const char* how, T& out) {
  if (!has_form_of_time(text)) return false;
  std::istringstream in{std::string{text}};
  in.imbue(std::locale::classic());
  in >> date::parse(how, out);
  return !in.fail() && in.peek() == std::istringstream::traits_type::eof();
}

}  // namespace

Result<Zone> Zone::find(std::string_view name) {
  // The library would also follow names out of the zone folder.
  const bool plain = !name.empty() && name.front() != '/' && name.find("..") == name.npos;
  if (plain) {
    try {
      Zone zone;
      zone.zone_ = date::locate_zone(name);
      zone.name_ = std::string{name};
      return zone;
    } catch (const std::runtime_error&) {
      // Unknown, or no zone database at all: answered below.
    }
  }
  return Error{"unknown time zone '" + std::string{name} + "'", "",
               "use an IANA name such as Europe/London or UTC (package tzdata holds them)"};
}

std::string Zone::iso(UtcTime at) const { return format_local(zone_, at, "%FT%T%Ez"); }
std::string Zone::minute(UtcTime at) const { return format_local(zone_, at, "%F %R"); }
std::string Zone::day(UtcTime at) const { return format_local(zone_, at, "%F"); }

Result<UtcTime> Zone::read(std::string_view text) const {
  constexpr std::size_t kDayLength = 10;  // 2026-03-01
  date::year_month_day day{};
  if (text.size() == kDayLength && parse_whole(text, "%F", day) && day.ok()) {
    const UtcTime at = start_of_day(zone_of(zone_), date::local_days{day});
    if (sane(at)) return at;
  }
  UtcTime at{};
  // %Ez does not take Z, and %T takes fractions of a second.
  if (text.size() > kDayLength &&
      (parse_whole(text, "%FT%TZ", at) || parse_whole(text, "%FT%T%Ez", at)) && sane(at))
    return at;
  return Error{"'" + std::string{text} + "' is not a time", "",
               "write a day as 2026-03-01, or an instant as 2026-03-01T06:00:00Z or with "
               "+01:00 in place of Z"};
}

Result<UtcTime> Zone::read_local(std::string_view text) const {
  date::local_time<milliseconds> local{};
  const auto in_years = [](date::local_time<milliseconds> at) {
    return sane(UtcTime{at.time_since_epoch()});
  };
  if (!parse_whole(text, "%FT%T", local) || !in_years(local))
    return Error{"'" + std::string{text} + "' is not a time", "",
                 "write a local time as 2026-03-01T06:00"};
  const date::local_info info = zone_of(zone_).get_info(local);
  if (info.result == date::local_info::nonexistent)
    return Error{"'" + std::string{text} + "' never was in " + name_ + ": the clocks went forward",
                 "", "write the time with its offset, such as 2026-03-01T06:00Z"};
  if (info.result == date::local_info::ambiguous) {
    const UtcTime first{local.time_since_epoch() - info.first.offset};
    const UtcTime second{local.time_since_epoch() - info.second.offset};
    return Error{"'" + std::string{text} + "' was twice in " + name_ + ": the clocks went back", "",
                 "write " + format_local(zone_, first, "%FT%R%Ez") + " or " +
                     format_local(zone_, second, "%FT%R%Ez")};
  }
  return UtcTime{local.time_since_epoch() - info.first.offset};
}

Zone::Day Zone::day_of(UtcTime at) const {
  const auto& zone = zone_of(zone_);
  const auto day = date::floor<date::days>(zone.to_local(at));
  return {start_of_day(zone, day), start_of_day(zone, day + date::days{1})};
}

Zone::Clock Zone::clock_at(UtcTime at) const {
  const date::sys_info info = zone_of(zone_).get_info(at);
  // The last rule of a zone holds until the end of the library's time.
  constexpr UtcTime kFar{std::chrono::sys_days{std::chrono::year{9999} / 1 / 1}};
  return {info.offset,
          info.end.time_since_epoch() < kFar.time_since_epoch() ? UtcTime{info.end} : kFar};
}

double Zone::days_at(UtcTime at) const {
  const auto& zone = zone_of(zone_);
  const auto day = date::floor<date::days>(zone.to_local(at));
  const Day whole = day_of(at);
  return static_cast<double>(day.time_since_epoch().count()) +
         std::chrono::duration<double>(at - whole.from) /
             std::chrono::duration<double>(whole.to - whole.from);
}

Zone::Month Zone::month_of(UtcTime at) const {
  const auto& zone = zone_of(zone_);
  const auto day = date::floor<date::days>(zone.to_local(at));
  const date::year_month_day ymd{day};
  const auto month = ymd.year() / ymd.month();
  const auto next = month + date::months{1};
  return {start_of_day(zone, date::local_days{month / 1}),
          start_of_day(zone, date::local_days{next / 1})};
}

}  // namespace packmile
