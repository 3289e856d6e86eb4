#include "ledger/zone.hpp"

// g++ 12 thinks that the library's parser may leave a variable unset.
#if !defined(__clang__)
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#endif
#include <date/tz.h>

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

template <typename T>
bool parse_whole(std::string_view text, const char* how, T& out) {
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
