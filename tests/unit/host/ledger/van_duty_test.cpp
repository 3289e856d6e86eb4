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

UtcTime duty_at(int day, int hour = 12) {
  return std::chrono::sys_days{std::chrono::year{2026} / 3 / 1} + days{day} + hours{hour};
}

LocalDay duty_local(int day) { return LocalDay{std::chrono::year{2026} / 3 / 1} + days{day}; }

MaybeFigure known(double value) { return MaybeFigure::known(figure_of(value, 0, 0.01 * value)); }

Trip trip(int day, double km, double moving_kmh = 40) {
  Trip out;
  out.start = duty_at(day);
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
  out.start = duty_at(day, 20);
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
  out.when = {duty_at(day, 0), duty_at(day + 1, 0)};
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
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(10));
  REQUIRE(duty.days.size() == 4);
  CHECK(duty.days[1].used[0].value == 0);
  CHECK(sum(duty, DutyCounter::km) == doctest::Approx(140));
  CHECK(sum(duty, DutyCounter::motor_hours) == doctest::Approx(3.5));
  CHECK(sum(duty, DutyCounter::motor_kwh) == doctest::Approx(140 * 0.24));
  CHECK(sum(duty, DutyCounter::charger_hours) == doctest::Approx(2));
  CHECK(sum(duty, DutyCounter::charger_kwh) == doctest::Approx(14));
  CHECK(sum(duty, DutyCounter::pack_kwh) == doctest::Approx(140 * 0.24 + 34));
  CHECK(sum(duty, DutyCounter::starts) == 5);
  CHECK(duty.today == duty_local(10));
  CHECK(duty.days[3].used[0].low == doctest::Approx(80 * (1 - 0.01 * kZ95)));
}

TEST_CASE("van duty: a drive that nobody saw is spread over its days") {
  VanParts parts;
  parts.trips = {trip(0, 40)};
  Trip unseen;
  unseen.start = duty_at(1);
  unseen.end = duty_at(4);
  unseen.distance_km = known(100);
  parts.trips.push_back(unseen);
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(10));
  REQUIRE(duty.days.size() == 5);
  // Noon to noon of three days: half a day, two whole ones, half a day.
  CHECK(duty.days[1].used[0].value == doctest::Approx(100 / 6.0));
  CHECK(duty.days[2].used[0].value == doctest::Approx(100 / 3.0));
  CHECK(sum(duty, DutyCounter::km) == doctest::Approx(140));
  // Its energy and hours at what the others took, between nothing and twice that.
  const auto& day = duty.days[2];
  CHECK(day.used[static_cast<std::size_t>(DutyCounter::motor_kwh)].value ==
        doctest::Approx(100 / 3.0 * 0.24));
  CHECK(day.used[static_cast<std::size_t>(DutyCounter::motor_kwh)].low == 0);
  CHECK(day.used[static_cast<std::size_t>(DutyCounter::motor_hours)].high ==
        doctest::Approx(2 * 100 / 3.0 / 40.0));
}

TEST_CASE("van duty: a late trip belongs to the local day, also when clocks change") {
  VanParts parts;
  // 2026-03-29 is 23 hours long in London; 23:30 UTC is 00:30 of the next day.
  Trip late = trip(28, 10);
  late.start = duty_at(28, 23) + minutes{30};
  parts.trips = {late};
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(40));
  REQUIRE(duty.days.size() == 1);
  CHECK(duty.days[0].day == duty_local(29));
  CHECK(local_day(london(), duty_at(28, 22)) == duty_local(28));
}

TEST_CASE("van duty: what begins after the day of the question does not count") {
  VanParts parts;
  parts.trips = {trip(0, 40), trip(9, 40)};
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000), noted(2, 9, 1100)};
  const VanDuty duty = duty_of(parts, notes, london(), duty_at(5));
  CHECK(sum(duty, DutyCounter::km) == doctest::Approx(40));
  CHECK(duty.odometer.size() == 1);
}

TEST_CASE("van duty: the odometer between, on and behind its readings") {
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000), noted(2, 20, 2000)};
  const VanDuty duty = duty_of({}, notes, london(), duty_at(25));
  CHECK(duty.odometer_on(duty_local(0)).figure->value == 1000);
  const Figure between = *duty.odometer_on(duty_local(5)).figure;
  CHECK(between.value == doctest::Approx(1250));
  CHECK(between.low == 1000);
  CHECK(between.high == 2001);
  CHECK_FALSE(duty.odometer_on(duty_local(-1)).figure);
  CHECK(duty.odometer_known().figure->value == 2000);
  // Five days at 50 a day since; how much of that it drove nobody knows.
  const Figure now = *duty.odometer_now().figure;
  CHECK(now.value == doctest::Approx(2250));
  CHECK(now.low < 2100);
  CHECK(now.low >= 2000);
  CHECK(now.high > 2400);
  CHECK(duty.odometer_on(duty_local(22)).figure->value == doctest::Approx(2100));
  CHECK_FALSE(VanDuty{}.odometer_now().figure);
}

TEST_CASE("van duty: trips after the last reading go on from it") {
  VanParts parts;
  parts.trips = {trip(0, 40), trip(5, 60)};
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000)};
  const Figure now = *duty_of(parts, notes, london(), duty_at(9)).odometer_now().figure;
  CHECK(now.value == doctest::Approx(1060));
  // Whether the reading of the first day was before its trip nobody knows.
  CHECK(now.high > 1100);
  CHECK(now.low < 1060);
}

TEST_CASE("van duty: of a day's odometer words the first and the last are kept") {
  VanParts parts;
  for (int k = 0; k < 50; ++k)
    parts.trace.odometer.push_back({duty_at(0, 8) + minutes{k}, 500 + 0.1 * k});
  parts.trace.odometer.push_back({duty_at(1, 8), 520});
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(9));
  REQUIRE(duty.odometer.size() == 3);
  CHECK(duty.odometer[0].km == 500);
  CHECK(duty.odometer[1].km == doctest::Approx(504.9));
  CHECK(duty.odometer_on(duty_local(0)).figure->value == doctest::Approx(502.45));
}

TEST_CASE("van duty: used since a day, and before the first day on record by what a km took") {
  VanParts parts;
  for (int day = 10; day < 30; ++day) parts.trips.push_back(trip(day, 50));
  VanNotes notes;
  notes.odometer = {noted(1, 0, 10'000), noted(2, 10, 10'500), noted(3, 29, 11'500)};
  const VanDuty duty = duty_of(parts, notes, london(), duty_at(30));
  CHECK(duty.used_since(duty_local(0), DutyCounter::km).figure->value == doctest::Approx(1500));
  CHECK(duty.used_since(duty_local(20), DutyCounter::motor_hours).figure->value ==
        doctest::Approx(10 * 50 / 40.0));
  const Figure hours = *duty.used_since(duty_local(0), DutyCounter::motor_hours).figure;
  CHECK(hours.value == doctest::Approx(1500 / 40.0));
  CHECK(hours.low == doctest::Approx(1000 / 40.0));
  CHECK(hours.high == doctest::Approx(2000 / 40.0));
  const MaybeFigure before = duty.used_since(duty_local(-5), DutyCounter::motor_hours);
  CHECK_FALSE(before.figure);
  CHECK(before.why.find("fitted_km") != std::string::npos);
}

TEST_CASE("van duty: the rate comes from days, and from notes where those are newer or alone") {
  VanParts parts;
  for (int day = 0; day < 30; ++day) parts.trips.push_back(trip(day, 50));
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000), noted(2, 29, 2500)};
  CHECK(duty_of(parts, notes, london(), duty_at(30))
            .rate_of(DutyCounter::km)
            .rate->basis.find("28 days") == 0);
  notes.odometer.push_back(noted(3, 80, 2600));
  const auto newer = duty_of(parts, notes, london(), duty_at(81)).rate_of(DutyCounter::km).rate;
  REQUIRE(newer);
  CHECK(newer->basis.find("readings of") == 0);
  CHECK(newer->per_day < 30);
  parts = {};
  const VanDuty silent = duty_of(parts, notes, london(), duty_at(81));
  CHECK(silent.rate_of(DutyCounter::km).rate);
  CHECK_FALSE(silent.rate_of(DutyCounter::starts).rate);
  CHECK_FALSE(duty_of({}, {}, london(), duty_at(1)).rate_of(DutyCounter::km).rate);
}

TEST_CASE("van duty: a note that the van's own odometer contradicts is left out and told") {
  VanParts parts;
  parts.trace.odometer = {{duty_at(0, 8), 5000}, {duty_at(10, 18), 5600}, {duty_at(20, 18), 6100}};
  VanNotes notes;
  notes.odometer = {noted(7, 5, 5300), noted(8, 15, 5500), noted(9, 12, 6300), noted(10, 25, 6099),
                    noted(11, 25, 6000)};
  const VanDuty duty = duty_of(parts, notes, london(), duty_at(26));
  REQUIRE(duty.left_out.size() == 3);
  CHECK(duty.left_out[0].id == 8);
  CHECK(duty.left_out[0].why.find("is below what the van itself said on 2026-03-11, 5600 km") !=
        std::string::npos);
  CHECK(duty.left_out[0].why.find("--replaces 8") != std::string::npos);
  CHECK(duty.left_out[1].why.find("above") != std::string::npos);
  CHECK(duty.left_out[2].id == 11);
  // What is within a dash's rounding stays.
  CHECK(duty.odometer.size() == 5);
  CHECK(duty.odometer_known().figure->value == 6099);
  // A word of a boot without a clock contradicts nobody.
  Trip unsure = trip(10, 40);
  unsure.start = duty_at(10, 17);
  unsure.end = duty_at(10, 19);
  unsure.start_doubt.too_early_ms.reset();
  parts.trips = {unsure};
  notes.odometer = {noted(8, 15, 5500)};
  CHECK(duty_of(parts, notes, london(), duty_at(26)).left_out.empty());
}

TEST_CASE("van duty: a row that goes on behind the moment counts up to it") {
  VanParts parts;
  parts.trips = {trip(0, 40)};
  Trip unseen;
  unseen.start = duty_at(1);
  unseen.end = duty_at(101);
  unseen.distance_km = known(1000);
  parts.trips.push_back(unseen);
  Stand stand;
  stand.start = duty_at(1, 0);
  stand.end = duty_at(21, 0);
  stand.discharge_kwh = known(20);
  stand.charge_kwh = known(0);
  parts.stands = {stand};
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(11));
  CHECK(sum(duty, DutyCounter::km) == doctest::Approx(140));
  CHECK(duty.days.back().day == duty_local(11));
  // 40 km and 100 km at 0.24, and 10.5 of the 20 days that the van stood.
  CHECK(sum(duty, DutyCounter::pack_kwh) == doctest::Approx(140 * 0.24 + 10.5));
  CHECK(duty.days[5].of(DutyCounter::pack_kwh).value == doctest::Approx(10 * 0.24 + 1));
}

TEST_CASE("van duty: a silence that held many drives held many starts") {
  VanParts parts;
  for (int day = 0; day < 4; ++day) {
    parts.trips.push_back(trip(day, 50));
    // Energy is another question.
    parts.trips.back().discharge_kwh = parts.trips.back().regen_kwh = known(0);
  }
  Trip unseen;
  unseen.start = duty_at(4);
  unseen.end = duty_at(104);
  unseen.distance_km = known(5000);
  parts.trips.push_back(unseen);
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(200));
  CHECK(sum(duty, DutyCounter::starts) == doctest::Approx(104));
  const Figure starts = *duty.used_since(duty_local(0), DutyCounter::starts).figure;
  CHECK(starts.low == doctest::Approx(5));
  CHECK(starts.high == doctest::Approx(204));
  // Not one that was heard: nothing tells how many they were.
  parts.trips = {unseen};
  const VanDuty silent = duty_of(parts, {}, london(), duty_at(200));
  CHECK_FALSE(silent.used_since(duty_local(0), DutyCounter::starts).figure);
  CHECK_FALSE(silent.rate_of(DutyCounter::starts).rate);
  CHECK(silent.used_since(duty_local(0), DutyCounter::starts).why.find("no drive") == 0);
}

TEST_CASE("van duty: what is not told is not nothing") {
  VanParts parts;
  Trip dark = trip(0, 40);
  dark.discharge_kwh = dark.regen_kwh = MaybeFigure::unknown("the sign is not proven");
  ChargeSession charged = charge(0, ChargeKind::ac, 10, 2);
  charged.pack_kwh = MaybeFigure::unknown("the sign is not proven");
  parts.trips = {dark};
  parts.sessions = {charged};
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(5));
  for (const DutyCounter counter :
       {DutyCounter::motor_kwh, DutyCounter::pack_kwh, DutyCounter::charger_kwh}) {
    CHECK(duty.used_since(duty_local(0), counter).why == "the sign is not proven");
    CHECK(duty.rate_of(counter).why == "the sign is not proven");
    CHECK_FALSE(duty.known_to(counter));
  }
  CHECK(duty.used_since(duty_local(0), DutyCounter::charger_hours).figure->value ==
        doctest::Approx(2));
  CHECK(duty.used_since(duty_local(0), DutyCounter::km).figure->value == doctest::Approx(40));
  // Where the others tell it, it is guessed, between nothing and twice that.
  parts.trips.push_back(trip(1, 60));
  parts.sessions.push_back(charge(1, ChargeKind::ac, 12, 2));
  const VanDuty told = duty_of(parts, {}, london(), duty_at(5));
  const Figure kwh = *told.used_since(duty_local(0), DutyCounter::charger_kwh).figure;
  CHECK(kwh.value == doctest::Approx(24));
  CHECK(kwh.low == doctest::Approx(12 * (1 - 0.01 * kZ95)));
  CHECK(kwh.high > 35);
}

TEST_CASE("van duty: without distances neither km nor their rate are known, but by readings") {
  VanParts parts;
  for (int day = 0; day < 20; ++day) {
    Trip one = trip(day, 40);
    one.distance_km = MaybeFigure::unknown("neither odometer nor speed");
    parts.trips.push_back(one);
  }
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(20));
  CHECK_FALSE(duty.rate_of(DutyCounter::km).rate);
  CHECK_FALSE(duty.used_since(duty_local(0), DutyCounter::km).figure);
  // One such drive among others is guessed by its time: an hour of 40 km.
  parts.trips.push_back(trip(20, 40));
  const Figure guess =
      *duty_of(parts, {}, london(), duty_at(30)).used_since(duty_local(19), DutyCounter::km).figure;
  CHECK(guess.value == doctest::Approx(80));
  CHECK(guess.low == doctest::Approx(40 * (1 - 0.01 * kZ95)));
  CHECK(guess.high > 120);
  parts.trips.pop_back();
  VanNotes notes;
  notes.odometer = {noted(1, 0, 1000), noted(2, 18, 1900)};
  const VanDuty noted_too = duty_of(parts, notes, london(), duty_at(20));
  CHECK(noted_too.rate_of(DutyCounter::km).rate->per_day == doctest::Approx(50));
  CHECK(*noted_too.known_to(DutyCounter::km) == duty_local(18));
  CHECK(noted_too.odometer_now().figure->value == doctest::Approx(2000));
}

// Two cards, and 30 days between them without one: 20 days of 50 km, then 10.
TEST_CASE("van duty: days without a card are no idle days") {
  VanParts parts;
  for (int day = 0; day < 20; ++day) parts.trips.push_back(trip(day, 50));
  for (int day = 50; day < 60; ++day) parts.trips.push_back(trip(day, 50));
  CardUse first, second;
  first.from = duty_at(0, 0);
  first.to = duty_at(19, 23);
  second.from = duty_at(50, 0);
  second.to = duty_at(61, 23);
  parts.cards = {first, second};
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(61, 22));
  REQUIRE(duty.days.size() == 62);
  CHECK_FALSE(duty.days[30].known);
  CHECK(duty.days[60].known);
  // Of the newest 28 that are known 26 had a drive.
  CHECK(duty.rate_of(DutyCounter::km).rate->per_day == doctest::Approx(26 * 50 / 28.0));
  // 1,500 km are known, the 30 days at what the others took: 1,500 km / 32 days.
  const Figure used = *duty.used_since(duty_local(0), DutyCounter::km).figure;
  CHECK(used.value == doctest::Approx(1500 + 30 * 1500 / 32.0));
  CHECK(used.low == doctest::Approx(1500 * (1 - 0.01 * kZ95)));
  CHECK(used.high > 1500 + 2 * 30 * 1500 / 32.0);
  // An odometer that was read on both sides tells what lay between.
  parts.trace.odometer = {{duty_at(0, 8), 1000}, {duty_at(60, 8), 2500}};
  CHECK(duty_of(parts, {}, london(), duty_at(61, 22)).days[30].known);
}

TEST_CASE("van duty: a van that stands with its logger has idle days up to the end of its card") {
  VanParts parts;
  for (int day = 0; day < 28; ++day) parts.trips.push_back(trip(day, 50));
  CardUse card;
  card.from = duty_at(0, 0);
  card.to = duty_at(55, 23);
  parts.cards = {card};
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(55, 22));
  CHECK(duty.rate_of(DutyCounter::km).rate->per_day == 0);
  CHECK(*duty.known_to(DutyCounter::km) == duty_local(55));
}

// 200 kWh went out and 12 came in: charges were not heard. By hand: 188 kWh, less and
// more by a pack of 40, at 12 kWh and two hours each.
TEST_CASE("van duty: charges that nobody heard are told by the balance of energy") {
  VanParts parts;
  parts.facts.nominal_kwh = 40;
  for (int day = 0; day < 25; ++day) parts.trips.push_back(trip(day, 50));
  parts.sessions = {charge(3, ChargeKind::ac, 12, 2)};
  const VanDuty duty = duty_of(parts, {}, london(), duty_at(30));
  const Figure kwh = *duty.used_since(duty_local(0), DutyCounter::charger_kwh).figure;
  CHECK(kwh.value == doctest::Approx(200));
  CHECK(kwh.low < 12);
  CHECK(kwh.high == doctest::Approx(12 * (1 + 0.01 * kZ95) + 188 + 40));
  CHECK(duty.used_since(duty_local(0), DutyCounter::charger_hours).figure->value ==
        doctest::Approx(2 + 188 / 6.0));
  CHECK(duty.used_since(duty_local(0), DutyCounter::starts).figure->value ==
        doctest::Approx(26 + 188 / 12.0));
  // Half of the pack is no such thing.
  parts.trips.resize(4);
  CHECK(duty_of(parts, {}, london(), duty_at(30))
            .used_since(duty_local(0), DutyCounter::charger_kwh)
            .figure->value == doctest::Approx(12));
  // None was ever heard: nothing tells what one is like.
  for (int day = 4; day < 25; ++day) parts.trips.push_back(trip(day, 50));
  parts.sessions.clear();
  CHECK(duty_of(parts, {}, london(), duty_at(30))
            .used_since(duty_local(0), DutyCounter::charger_hours)
            .why.find("charges were not heard") != std::string::npos);
}

TEST_CASE("van duty: when a limit was passed, by readings and by days") {
  VanNotes notes;
  notes.odometer = {noted(1, 0, 10'000), noted(2, 10, 11'000), noted(3, 20, 12'000)};
  const VanDuty duty = duty_of({}, notes, london(), duty_at(21));
  const auto passed = duty.passed_on(duty_local(0), DutyCounter::km, 1'500);
  REQUIRE(passed);
  CHECK(passed->earliest == duty_local(10));
  CHECK(passed->likely == duty_local(15));
  CHECK(*passed->latest == duty_local(20));
  CHECK(duty.passed_on(duty_local(5), DutyCounter::km, 700, 10'000)->likely == duty_local(9));
  VanParts parts;
  for (int day = 0; day < 20; ++day) parts.trips.push_back(trip(day, 40));
  const VanDuty logged = duty_of(parts, {}, london(), duty_at(20));
  // An hour a day.
  CHECK(logged.passed_on(duty_local(0), DutyCounter::motor_hours, 5)->likely == duty_local(4));
}

TEST_CASE(
    "van duty: the odometer that fleet.toml has for a fitting tells what came before a logger") {
  VanParts parts;
  for (int day = 10; day < 30; ++day) parts.trips.push_back(trip(day, 50));
  VanNotes notes;
  notes.odometer = {noted(2, 10, 10'500)};
  const VanDuty duty = duty_of(parts, notes, london(), duty_at(30));
  CHECK_FALSE(duty.used_since(duty_local(-300), DutyCounter::motor_hours).figure);
  const Figure hours = *duty.used_since(duty_local(-300), DutyCounter::motor_hours, 500).figure;
  CHECK(hours.value == doctest::Approx(25 + 10'000 / 40.0));
  CHECK(hours.low == doctest::Approx(25));
  // More than the odometer has now cannot have been there then.
  CHECK(duty.used_since(duty_local(-300), DutyCounter::km, 50'000)
            .why.find("correct the wrong one") != std::string::npos);
}

TEST_CASE("van duty: the odometer on a day behind the last reading and before the first") {
  VanParts parts;
  for (int day = 0; day < 10; ++day) parts.trips.push_back(trip(day, 50));
  VanNotes notes;
  notes.odometer = {noted(1, 4, 1'000)};
  const VanDuty duty = duty_of(parts, notes, london(), duty_at(10));
  // Days 5 and 6 have been driven by the end of day 6.
  const Figure later = *duty.odometer_on(duty_local(6)).figure;
  CHECK(later.value == doctest::Approx(1'100));
  CHECK(later.low <= 1'050);
  CHECK(later.high >= 1'150);
  const Figure before = *duty.odometer_on(duty_local(2)).figure;
  CHECK(before.value == doctest::Approx(900));
  CHECK(before.low <= 850);
  CHECK(before.high >= 950);
  CHECK_FALSE(duty.odometer_on(duty_local(-1)).figure);
}

}  // namespace packmile::testing
