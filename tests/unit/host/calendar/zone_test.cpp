#include "calendar/zone.hpp"

#include <doctest/doctest.h>

#include <cstdlib>
#include <ctime>

using namespace packmile;
using namespace std::chrono;

namespace {

UtcTime utc(int y, unsigned m, unsigned d, int h = 0, int min = 0, int s = 0) {
  return sys_days{year{y} / month{m} / day{d}} + hours{h} + minutes{min} + seconds{s};
}

Zone zone(const char* name) { return Zone::find(name).value(); }

}  // namespace

// Source: IANA tzdata; Europe/London goes forward on 2026-03-29 and back on
// 2026-10-25, both at 01:00 UTC (23 and 25 h; checked with Python's zoneinfo).
TEST_CASE("zone: days of 23 and 25 hours") {
  const Zone london = zone("Europe/London");
  const auto length_h = [&](const char* from, const char* to) {
    return duration_cast<hours>(london.read(to).value() - london.read(from).value()).count();
  };
  CHECK(length_h("2026-03-29", "2026-03-30") == 23);
  CHECK(length_h("2026-10-25", "2026-10-26") == 25);
  CHECK(london.iso(utc(2026, 3, 29, 0, 59, 59)) == "2026-03-29T00:59:59.000+00:00");
  CHECK(london.iso(utc(2026, 3, 29, 1)) == "2026-03-29T02:00:00.000+01:00");
  CHECK(london.day(utc(2026, 6, 30, 23, 30)) == "2026-07-01");
}

// Source: IANA tzdata; Sao Paulo went forward at midnight on 2018-11-04, so that
// day began at 01:00, 03:00 UTC.
TEST_CASE("zone: a day without midnight begins at the change") {
  CHECK(zone("America/Sao_Paulo").read("2018-11-04").value() == utc(2018, 11, 4, 3));
}

TEST_CASE("zone: instants keep their offset, whatever the zone") {
  const Zone london = zone("Europe/London");
  CHECK(london.read("2026-07-01T06:00:00Z").value() == utc(2026, 7, 1, 6));
  CHECK(london.read("2026-07-01T06:00:00+02:00").value() == utc(2026, 7, 1, 4));
  CHECK(london.read("2026-07-01T06:00:00.250Z").value() == utc(2026, 7, 1, 6) + milliseconds{250});
  CHECK(london.iso(utc(2026, 7, 1, 6) + milliseconds{7}) == "2026-07-01T07:00:00.007+01:00");
}

TEST_CASE("zone: what is no time is refused with a hint") {
  const Zone london = zone("Europe/London");
  for (const char* wrong : {"", "yesterday", "2026-02-30", "2026-13-01", "2026-3-1", "2026-03-01x",
                            "2026-03-01T06:00:00", "2026-03-01T06:00:00Zx", "2026-03-01 06:00:00Z",
                            "99999-01-01", "1969-12-31"}) {
    CAPTURE(std::string{wrong});
    const auto read = london.read(wrong);
    REQUIRE_FALSE(read);
    CHECK_FALSE(read.error().hint.empty());
  }
}

TEST_CASE("zone: unknown names and paths are refused") {
  for (const char* wrong : {"", "Europe/Nowhere", "/etc/passwd", "../../etc/passwd", "Mars"}) {
    CAPTURE(std::string{wrong});
    CHECK_FALSE(Zone::find(wrong));
  }
}

TEST_CASE("zone: months are local") {
  const auto month = zone("Europe/London").month_of(utc(2026, 3, 31, 23, 30));
  CHECK(month.from == utc(2026, 3, 31, 23));  // 1 April, 00:00 +01:00
  CHECK(month.to == utc(2026, 4, 30, 23));
}

TEST_CASE("zone: the machine's own zone changes nothing") {
  const Zone london = zone("Europe/London");
  const auto before = london.iso(utc(2026, 7, 1, 6));
  setenv("TZ", "Asia/Tokyo", 1);
  tzset();
  CHECK(london.iso(utc(2026, 7, 1, 6)) == before);
  CHECK(london.read("2026-07-01").value() == utc(2026, 6, 30, 23));
  unsetenv("TZ");
  tzset();
}

// Found by tests/fuzz: the library reads seconds as a floating-point number.
TEST_CASE("zone: seconds are digits, and nothing else is a time") {
  const Zone london = zone("Europe/London");
  CHECK(london.read("2026-03-01T06:00:00.25Z").value() == utc(2026, 3, 1, 6) + milliseconds{250});
  CHECK(london.read("2026-03-01T06:00:00+01:00").value() == utc(2026, 3, 1, 5));
  CHECK(london.read("2026-03-01T06:00:00-01:30").value() == utc(2026, 3, 1, 7, 30));
  for (const char* text :
       {"2026-10-25T01:3Eu0:00", "2026-10-25T01:00:1E1Z", "2026-10-25T01:00:.5Z",
        "2026-10-25T01:00:00.Z", "2026-10-25T01:00:00.0000000001Z", "2026-10-25T01:00:00nan",
        "2026-10-25T01:00:00+00000000000000000001", "2026-10-25T01:00:00--0033",
        "2026-10-25T01:00:00+1:00", "2026-10-25T01:00:00+01:0Z", "+026-10-25", "2026-10-2 "}) {
    CAPTURE(text);
    CHECK_FALSE(london.read(text));
    CHECK_FALSE(london.read_local(text));
  }
}

// Source: IANA tzdata; as above.
TEST_CASE("zone: a local time that never was, or was twice") {
  const Zone london = zone("Europe/London");
  CHECK(london.read_local("2026-07-01T18:30:00").value() == utc(2026, 7, 1, 17, 30));
  CHECK(london.read_local("2026-03-29T01:30:00").error().what.find("never was") !=
        std::string::npos);
  CHECK(london.read_local("2026-10-25T01:30:00").error().hint ==
        "write 2026-10-25T01:30+01:00 or 2026-10-25T01:30+00:00");
  CHECK(london.day_of(utc(2026, 10, 25, 5)).from == utc(2026, 10, 24, 23));
  CHECK(london.day_of(utc(2026, 10, 25, 5)).to == utc(2026, 10, 26));
}
