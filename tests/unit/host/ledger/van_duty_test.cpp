// What a van did by day, and its odometer from words, notes and trips.
#include "ledger/van_duty.hpp"

#include <doctest/doctest.h>

#include <string>

namespace packmile::testing {
namespace {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::minutes;

Zone london() { return Zone::find("Europe/London").value(); }

UtcTime at(int day, int hour = 12) {
  return std::chrono::sys_days{std::chrono::year{2026} / 3 / 1} + days{day} + hours{hour};
}

LocalDay local(int day) { return LocalDay{std::chrono::year{2026} / 3 / 1} + days{day}; }

MaybeFigure known(double value) { return MaybeFigure::known(figure_of(value, 0, 0.01 * value)); }

Trip trip(int day, double km, double moving_kmh = 40) {
  Trip out;
  out.start = at(day);
  out.end = out.start + hours{1};
  out.distance_km = known(km);
  out.discharge_kwh = known(km * 0.2);
  out.regen_kwh = known(km * 0.04);
  out.filled_kwh = MaybeFigure::known({});
  out.moving_kmh = moving_kmh;
  out.coverage = 1;
  return out;
}

ChargeSession charge(int day, ChargeKind kind, double kwh, double hours_long) {
  ChargeSession out;
  out.start = at(day, 20);
  out.end = out.start + minutes{static_cast<int>(60 * hours_long)};
  out.kind = kind;
  out.pack_kwh = known(kwh);
  out.band_hours[2] = hours_long;
  out.coverage = 1;
  return out;
}

OdometerNote noted(std::uint32_t id, int day, double km) {
  OdometerNote out;
  out.id = id;
  out.when = {at(day, 0), at(day + 1, 0)};
  out.km = km;
  out.step_km = 1;
  return out;
}

double sum(const VanDuty& duty, DutyCounter counter) {
  double out = 0;
  for (const VanDay& day : duty.days) out += day.used[static_cast<std::size_t>(counter)].value;
  return out;
}

}  // namespace

TEST_CASE("van duty: every calendar day is there, idle ones too, and all is counted once") {
  VanParts parts;
  parts.trips = {trip(0, 40), trip(0, 20), trip(3, 80)};
  parts.sessions = {charge(0, ChargeKind::ac, 14, 2), charge(3, ChargeKind::dc, 20, 0.5)};
  const VanDuty duty = duty_of(parts, {}, london(), at(10));
  REQUIRE(duty.days.size() == 4);
  CHECK(duty.days[1].used[0].value == 0);
  CHECK(sum(duty, DutyCounter::km) == doctest::Approx(140));
  CHECK(sum(duty, DutyCounter::motor_hours) == doctest::Approx(3.5));
  CHECK(sum(duty, DutyCounter::motor_kwh) == doctest::Approx(140 * 0.24));
  CHECK(sum(duty, DutyCounter::charger_hours) == doctest::Approx(2));
  CHECK(sum(duty, DutyCounter::charger_kwh) == doctest::Approx(14));
  CHECK(sum(duty, DutyCounter::pack_kwh) == doctest::Approx(140 * 0.24 + 34));
  CHECK(sum(duty, DutyCounter::starts) == 5);
  CHECK(duty.today == local(10));
  CHECK(duty.days[3].used[0].low == doctest::Approx(80 * (1 - 0.01 * kZ95)));
}

TEST_CASE("van duty: a drive that nobody saw is spread over its days") {
  VanParts parts;
  parts.trips = {trip(0, 40)};
  Trip unseen;
  unseen.start = at(1);
  unseen.end = at(4);
  unseen.distance_km = known(100);
  parts.trips.push_back(unseen);
  const VanDuty duty = duty_of(parts, {}, london(), at(10));
  REQUIRE(duty.days.size() == 5);
  CHECK(duty.days[2].used[0].value == doctest::Approx(25));
  CHECK(sum(duty, DutyCounter::km) == doctest::Approx(140));
  // Its energy and hours at what the others took, between nothing and twice that.
  const auto& day = duty.days[2];
  CHECK(day.used[static_cast<std::size_t>(DutyCounter::motor_kwh)].value ==
        doctest::Approx(25 * 0.24));
  CHECK(day.used[static_cast<std::size_t>(DutyCounter::motor_kwh)].low == 0);
  CHECK(day.used[static_cast<std::size_t>(DutyCounter::motor_hours)].high ==
        doctest::Approx(2 * 25 / 40.0));
}

TEST_CASE("van duty: a late trip belongs to the local day, also when clocks change") {
  VanParts parts;
  // 2026-03-29 is 23 hours long in London; 23:30 UTC is 00:30 of the next day.
  Trip late = trip(28, 10);
  late.start = at(28, 23) + minutes{30};
  parts.trips = {late};
  const VanDuty duty = duty_of(parts, {}, london(), at(40));
  REQUIRE(duty.days.size() == 1);
  CHECK(duty.days[0].day == local(29));
  CHECK(local_day(london(), at(28, 22)) == local(28));
}

TEST_CASE("van duty: what begins after the day of the question does not count") {
  VanParts parts;
  parts.trips = {trip(0, 40), trip(9, 40)};
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000), noted(2, 9, 1100)};
  const VanDuty duty = duty_of(parts, notes, london(), at(5));
  CHECK(sum(duty, DutyCounter::km) == doctest::Approx(40));
  CHECK(duty.odometer.size() == 1);
}

TEST_CASE("van duty: the odometer between, on and behind its readings") {
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000), noted(2, 20, 2000)};
  const VanDuty duty = duty_of({}, notes, london(), at(25));
  CHECK(duty.odometer_on(local(0)).figure->value == 1000);
  const Figure between = *duty.odometer_on(local(5)).figure;
  CHECK(between.value == doctest::Approx(1250));
  CHECK(between.low == 1000);
  CHECK(between.high == 2001);
  CHECK_FALSE(duty.odometer_on(local(-1)).figure);
  CHECK(duty.odometer_now().figure->value == 2000);
  CHECK_FALSE(VanDuty{}.odometer_now().figure);
}

TEST_CASE("van duty: trips after the last reading go on from it") {
  VanParts parts;
  parts.trips = {trip(0, 40), trip(5, 60)};
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000)};
  const Figure now = *duty_of(parts, notes, london(), at(9)).odometer_now().figure;
  CHECK(now.value == doctest::Approx(1060));
  // Whether the reading of the first day was before its trip nobody knows.
  CHECK(now.high > 1100);
  CHECK(now.low < 1060);
}

TEST_CASE("van duty: of a day's odometer words the first and the last are kept") {
  VanParts parts;
  for (int k = 0; k < 50; ++k)
    parts.trace.odometer.push_back({at(0, 8) + minutes{k}, 500 + 0.1 * k});
  parts.trace.odometer.push_back({at(1, 8), 520});
  const VanDuty duty = duty_of(parts, {}, london(), at(9));
  REQUIRE(duty.odometer.size() == 3);
  CHECK(duty.odometer[0].km == 500);
  CHECK(duty.odometer[1].km == doctest::Approx(504.9));
  CHECK(duty.odometer_on(local(0)).figure->value == doctest::Approx(502.45));
}

TEST_CASE("van duty: used since a day, and before the first day on record by what a km took") {
  VanParts parts;
  for (int day = 10; day < 30; ++day) parts.trips.push_back(trip(day, 50));
  VanNotes notes;
  notes.odometer = {noted(1, 0, 10'000), noted(2, 10, 10'500), noted(3, 29, 11'500)};
  const VanDuty duty = duty_of(parts, notes, london(), at(30));
  CHECK(duty.used_since(local(0), DutyCounter::km).figure->value == doctest::Approx(1500));
  CHECK(duty.used_since(local(20), DutyCounter::motor_hours).figure->value ==
        doctest::Approx(10 * 50 / 40.0));
  const Figure hours = *duty.used_since(local(0), DutyCounter::motor_hours).figure;
  CHECK(hours.value == doctest::Approx(1500 / 40.0));
  CHECK(hours.low == doctest::Approx(1000 / 40.0));
  CHECK(hours.high == doctest::Approx(2000 / 40.0));
  const MaybeFigure before = duty.used_since(local(-5), DutyCounter::motor_hours);
  CHECK_FALSE(before.figure);
  CHECK(before.why.find("fitted_km") != std::string::npos);
}

TEST_CASE("van duty: the rate comes from days, and from notes where those are newer or alone") {
  VanParts parts;
  for (int day = 0; day < 30; ++day) parts.trips.push_back(trip(day, 50));
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000), noted(2, 29, 2500)};
  CHECK(duty_of(parts, notes, london(), at(30))
            .rate_of(DutyCounter::km)
            .rate->basis.find("28 days") == 0);
  notes.odometer.push_back(noted(3, 80, 2600));
  const auto newer = duty_of(parts, notes, london(), at(81)).rate_of(DutyCounter::km).rate;
  REQUIRE(newer);
  CHECK(newer->basis.find("readings of") == 0);
  CHECK(newer->per_day < 30);
  parts = {};
  const VanDuty silent = duty_of(parts, notes, london(), at(81));
  CHECK(silent.rate_of(DutyCounter::km).rate);
  CHECK_FALSE(silent.rate_of(DutyCounter::starts).rate);
  CHECK_FALSE(duty_of({}, {}, london(), at(1)).rate_of(DutyCounter::km).rate);
}

}  // namespace packmile::testing
