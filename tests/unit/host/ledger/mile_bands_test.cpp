#include "ledger/mile_bands.hpp"

#include <doctest/doctest.h>

using namespace packmile;

namespace {

UtcTime band_time(const char* text) { return Zone::find("UTC").value().read(text).value(); }

Trip band_trip(const char* start, double km, double kwh, double ambient_c) {
  Trip trip;
  trip.start = band_time(start);
  trip.end = trip.start + std::chrono::hours{1};
  trip.distance_km = MaybeFigure::known({km, km, km, 0});
  trip.net_kwh = trip.discharge_kwh = MaybeFigure::known({kwh, kwh, kwh, 0});
  trip.regen_kwh = MaybeFigure::known({0, 0, 0, 0});
  trip.ambient_mean_c = ambient_c;
  trip.coverage = 1;
  return trip;
}

}  // namespace

// Source: arithmetic by hand; 1 mile = 1.609344 km. A band is of all its miles
// together, not the mean of its trips; -0.5 degC is below 0.
TEST_CASE("mile bands: energy by temperature is that of all miles of a band") {
  VanParts parts;
  parts.trips = {band_trip("2026-03-01T09:00:00Z", 16.09344, 5, 1),
                 band_trip("2026-03-02T09:00:00Z", 48.28032, 9, 4.9),
                 band_trip("2026-03-03T09:00:00Z", 16.09344, 6, -0.5)};
  const auto bands = miles_by_temperature(parts, {}, Zone::find("UTC").value());
  REQUIRE(bands.size() == 2);
  CHECK(bands[0].from_c == -5);
  CHECK(bands[0].kwh_per_mile.figure->value == doctest::Approx(0.6));
  CHECK(bands[1].trips == 2);
  CHECK(bands[1].miles.figure->value == doctest::Approx(40));
  CHECK(bands[1].kwh_per_mile.figure->value == doctest::Approx(14.0 / 40));
  CHECK(bands[1].mean_c == doctest::Approx((1 * 10 + 4.9 * 30) / 40));
}

// Source: arithmetic by hand. A month without a trip has no energy and says why.
TEST_CASE("mile bands: every month from the first record on") {
  VanParts parts;
  parts.trips = {band_trip("2026-01-20T09:00:00Z", 16.09344, 5, 1),
                 band_trip("2026-03-02T09:00:00Z", 16.09344, 4, 8)};
  parts.trace.odometer = {{band_time("2026-01-20T09:00:00Z"), 100},
                          {band_time("2026-01-31T09:00:00Z"), 130},
                          {band_time("2026-03-02T09:00:00Z"), 180}};
  const auto months = throughput_by_month(parts, band_time("2025-06-01"), band_time("2026-04-01"),
                                          Zone::find("UTC").value());
  REQUIRE(months.size() == 3);
  CHECK(months[0].month == "2026-01");
  CHECK(months[0].through.kwh_per_mile.figure->value == doctest::Approx(0.5));
  CHECK(months[0].odometer_gain.figure->value == doctest::Approx(30));
  CHECK_FALSE(months[1].through.kwh_per_mile.figure);
  CHECK_FALSE(months[1].odometer_gain.figure);
  CHECK_FALSE(months[1].distance.figure);
  CHECK(months[2].odometer_gain.figure->value == doctest::Approx(50));
  CHECK(*months[2].ambient_c == doctest::Approx(8));
}
