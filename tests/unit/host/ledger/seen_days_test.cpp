#include "ledger/seen_days.hpp"

#include <doctest/doctest.h>

using namespace packmile;

namespace {

UtcTime seen_time(const char* text) { return Zone::find("UTC").value().read(text).value(); }

Trip seen_trip(const char* start, const char* end, double coverage) {
  Trip trip;
  trip.start = seen_time(start);
  trip.end = seen_time(end);
  trip.coverage = coverage;
  return trip;
}

}  // namespace

// Source: IANA: the day of 29 March 2026 has 23 hours in Europe/London and begins at
// 00:00 UTC; midnight of the 30th is 23:00 UTC.
TEST_CASE("seen days: a row counts on the local days it lies on") {
  const Zone london = Zone::find("Europe/London").value();
  VanParts parts;
  parts.trips = {seen_trip("2026-03-29T21:00:00Z", "2026-03-30T01:00:00Z", 0.5),
                 seen_trip("2026-04-01T09:00:00Z", "2026-04-01T10:00:00Z", 0)};
  const auto days = seen_days(parts, seen_time("2026-03-01"), seen_time("2026-04-01"), london);
  REQUIRE(days.size() == 4);
  CHECK(days[0].day == "2026-03-29");
  CHECK(days[0].awake_hours == doctest::Approx(2));
  CHECK(days[0].seen_hours == doctest::Approx(1));
  CHECK(days[1].awake_hours == doctest::Approx(2));
  // Days behind it are there, with nothing; a silence is no awake time.
  CHECK(days[2].awake_hours == 0);
  CHECK(days[3].day == "2026-04-01");
}

// No source: four days without a record are a silence, three are a long weekend.
TEST_CASE("seen days: silences and what the odometer did meanwhile") {
  const Zone utc = Zone::find("UTC").value();
  VanParts parts;
  parts.trips = {seen_trip("2026-03-01T09:00:00Z", "2026-03-01T10:00:00Z", 1),
                 seen_trip("2026-03-05T09:00:00Z", "2026-03-05T10:00:00Z", 1),
                 seen_trip("2026-03-10T09:00:00Z", "2026-03-10T10:00:00Z", 1)};
  parts.trace.odometer = {{seen_time("2026-03-01T09:00:00Z"), 100},
                          {seen_time("2026-03-05T09:00:00Z"), 130},
                          {seen_time("2026-03-10T09:00:00Z"), 180.5}};
  const auto days = seen_days(parts, seen_time("2026-03-01"), seen_time("2026-03-11"), utc);
  const auto silent = silent_days(days, parts.trace, utc);
  REQUIRE(silent.size() == 1);
  CHECK(silent[0].first == "2026-03-06");
  CHECK(silent[0].last == "2026-03-09");
  CHECK(silent[0].days == 4);
  CHECK(silent[0].km.figure->value == doctest::Approx(50.5));
  CHECK(odometer_falls(parts.trace, {}) == 0);
  parts.trace.odometer[1].odometer_km = 99;
  CHECK(odometer_falls(parts.trace, {}) == 1);
}
