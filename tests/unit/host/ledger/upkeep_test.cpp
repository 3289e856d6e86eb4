// Upkeep of a van from fleet.toml, notes and duty.
#include "ledger/upkeep.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <random>
#include <string>

namespace packmile::testing {
namespace {

using std::chrono::days;
using std::chrono::hours;

UtcTime at(int day, int hour = 12) {
  return std::chrono::sys_days{std::chrono::year{2026} / 1 / 1} + days{day} + hours{hour};
}
LocalDay local(int day) { return LocalDay{std::chrono::year{2026} / 1 / 1} + days{day}; }
NoteTime on(int day) { return {at(day, 0), at(day + 1, 0)}; }

Fleet fleet(const std::string& text) {
  const FleetRead read = parse_fleet(
      "zone = \"UTC\"\ncurrency = \"GBP\"\n[[van]]\nname = \"Linden\"\n" + text, "fleet.toml");
  std::string said;
  for (const Error& error : read.errors) said += error.where + ": " + error.what + "\n";
  CHECK(said == "");
  return read.fleet;
}

// 70 km and a charge a day from Monday to Friday, with an odometer that begins at 20,000
// km; the card stays in until the last Sunday.
VanParts weeks_of_driving(int count) {
  VanParts out;
  double km = 20'000;
  for (int day = 0; day < 7 * count; ++day) {
    if (day % 7 > 4) continue;
    Trip trip;
    trip.start = at(day, 8);
    trip.end = at(day, 12);
    trip.distance_km = MaybeFigure::known({70, 69, 71, 1});
    trip.moving_kmh = 35;
    trip.coverage = 1;
    trip.discharge_kwh = MaybeFigure::known({16, 15.5, 16.5, 0.1});
    trip.regen_kwh = MaybeFigure::known({3, 2.9, 3.1, 0.1});
    trip.filled_kwh = MaybeFigure::known({});
    out.trips.push_back(trip);
    out.trace.odometer.push_back({trip.start, km});
    km += 70;
    out.trace.odometer.push_back({trip.end, km});
    ChargeSession charge;
    charge.start = at(day, 20);
    charge.end = at(day, 22);
    charge.kind = ChargeKind::ac;
    charge.pack_kwh = MaybeFigure::known({13.5, 13, 14, 0.1});
    charge.band_hours[2] = 2;
    charge.coverage = 1;
    out.sessions.push_back(charge);
  }
  CardUse card;
  card.from = at(0, 0);
  card.to = at(7 * count - 1, 23);
  out.cards = {card};
  return out;
}

VanUpkeep upkeep(const Fleet& of, const VanParts& parts, const VanNotes& notes, int today) {
  return upkeep_of(of, {"Linden", ""}, duty_of(parts, notes, of.zone, at(today)), notes);
}

const UpkeepRow* find(const VanUpkeep& van, std::string_view part, std::string_view position,
                      PartRule rule) {
  for (const UpkeepRow& row : van.rows)
    if (row.part == part && row.position == position && row.state.rule == rule) return &row;
  return nullptr;
}

JobNote job(std::uint32_t id, int day, const std::string& part) {
  JobNote out;
  out.id = id;
  out.when = on(day);
  out.part = part;
  return out;
}

TreadNote tread(std::uint32_t id, int day, Wheel wheel, double mm) {
  return {id, on(day), wheel, mm, 0.25, 0.1};
}

OdometerNote odometer(std::uint32_t id, int day, double km) { return {id, on(day), km, 1}; }

}  // namespace

TEST_CASE("upkeep: a part by distance and age, fitted by its last job") {
  const Fleet of = fleet("[[part]]\nname = \"gearbox oil\"\nlimit_km = 10000\nlimit_years = 3\n");
  VanNotes notes;
  notes.jobs = {job(7, 14, "Gearbox Oil")};
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), notes, 69);
  const UpkeepRow* distance = find(van, "gearbox oil", "", PartRule::distance);
  const UpkeepRow* age = find(van, "gearbox oil", "", PartRule::age);
  REQUIRE(distance);
  REQUIRE(age);
  CHECK(*distance->last == local(14));
  CHECK(distance->last_source == "note 7");
  // Ten driving days before the job; on its own day the odometer went from 20,700 to
  // 20,770, and 23,500 is the last.
  CHECK(distance->last_km.figure->value == doctest::Approx(20'735));
  CHECK(distance->state.used.figure->value == doctest::Approx(23'500 - 20'735));
  CHECK(distance->state.remaining.figure->value == doctest::Approx(10'000 - 2'765));
  // 7,235 km at 50 a day are 145 days.
  REQUIRE(distance->state.due);
  CHECK((distance->state.due->likely - local(69)).count() == 145);
  CHECK(distance->state.due->earliest <= distance->state.due->likely);
  CHECK(*distance->decided_by == PartRule::distance);
  CHECK(*age->decided_by == PartRule::distance);
  CHECK(*distance->used_share == doctest::Approx(0.2765));
  CHECK(*distance->age_share == doctest::Approx(55.0 / 1096).epsilon(0.01));
  CHECK(text_of(age->state.due->likely) == "2029-01-15");
}

TEST_CASE("upkeep: nobody said when it was fitted, and what to enter is told") {
  const Fleet of = fleet("[[part]]\nname = \"cabin filter\"\nlimit_months = 12\n");
  const VanUpkeep van = upkeep(of, {}, {}, 10);
  const UpkeepRow* row = find(van, "cabin filter", "", PartRule::age);
  REQUIRE(row);
  CHECK_FALSE(row->state.due);
  CHECK(row->state.due_why.find("--van 'Linden' --date DAY job 'cabin filter' SUM") !=
        std::string::npos);
  CHECK_FALSE(row->decided_by);
  CHECK(van.missing.size() >= 4);
}

TEST_CASE("upkeep: fleet.toml's fitting holds until a note renews it") {
  const Fleet of = fleet(
      "[[part]]\nname = \"brake fluid\"\nvans = [\"Linden\"]\nlimit_years = 2\n"
      "fitted = 2025-06-01\n");
  VanNotes notes;
  CHECK(find(upkeep(of, {}, notes, 30), "brake fluid", "", PartRule::age)->last_source ==
        "fleet.toml");
  notes.fluids = {{4, on(20), "brake fluid"}};
  const VanUpkeep van = upkeep(of, {}, notes, 30);
  CHECK(find(van, "brake fluid", "", PartRule::age)->last_source == "note 4");
  CHECK(text_of(find(van, "brake fluid", "", PartRule::age)->state.due->likely) == "2028-01-21");
  // A renewal that has not been on the day of the question.
  CHECK(find(upkeep(of, {}, notes, 10), "brake fluid", "", PartRule::age)->last_source ==
        "fleet.toml");
}

TEST_CASE("upkeep: jobs name places, an axle is both its wheels") {
  const Fleet of = fleet(
      "[[part]]\nname = \"shock absorber\"\npositions = [\"fl\", \"fr\", \"rl\"]\n"
      "limit_years = 8\n");
  VanNotes notes;
  notes.jobs = {job(1, 5, "shock absorbers front"), job(2, 9, "shock absorber rear left"),
                job(3, 12, "shock absorber bracket")};
  const VanUpkeep van = upkeep(of, {}, notes, 30);
  CHECK(*find(van, "shock absorber", "fl", PartRule::age)->last == local(5));
  CHECK(*find(van, "shock absorber", "fr", PartRule::age)->last == local(5));
  CHECK(*find(van, "shock absorber", "rl", PartRule::age)->last == local(9));
}

TEST_CASE("upkeep: treads go with their tyres, and the law stands beside the plan") {
  Fleet of = fleet("");
  of.vans[0].plated_weight_kg = 4'250;
  VanNotes notes;
  notes.treads = {tread(1, 0, Wheel::front_left, 6.0), tread(2, 0, Wheel::rear_left, 8.0),
                  tread(7, 30, Wheel::front_left, 5.0), tread(5, 69, Wheel::rear_left, 4.0),
                  tread(6, 69, Wheel::front_left, 7.8)};
  notes.tyres_moved = {{3, on(30), Wheel::front_left, Wheel::rear_left},
                       {4, on(30), Wheel::rear_left, Wheel::front_left}};
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), notes, 69);
  const UpkeepRow* rear = find(van, "tyre", "rl", PartRule::measured);
  REQUIRE(rear);
  // At the rear 5.0 to 4.0 mm over 1,925 km: 21,575 in the middle of day 30 to 23,500.
  // What it lost in front is no part of that.
  CHECK(rear->mm_per_1000_km.figure->value == doctest::Approx(1.0 / 1.925).epsilon(1e-3));
  CHECK(rear->state.used.figure->value == doctest::Approx(2.0));
  CHECK(*rear->state.limit == 3.0);
  CHECK(*rear->legal_limit_mm == 1.0);
  REQUIRE(rear->state.due);
  REQUIRE(rear->legal_due);
  CHECK(rear->legal_due->likely > rear->state.due->likely);
  CHECK(rear->last_source == "note 5");
  CHECK_FALSE(find(van, "tyre", "fr", PartRule::measured)->state.due);
  // Measured once since it came to the front.
  CHECK(find(van, "tyre", "fl", PartRule::measured)
            ->state.due_why.find("the tyre came from the other axle on 2026-01-31") == 0);
}

TEST_CASE("upkeep: new pads begin anew, and a thickness is never guessed") {
  const Fleet of = fleet("");
  VanNotes notes;
  const auto pad = [](std::uint32_t id, int day, double mm) {
    return PadNote{id, on(day), Axle::front, mm, 0.5};
  };
  notes.pads = {pad(1, 0, 4.0), pad(2, 30, 3.0), pad(4, 30, 12.0)};
  notes.jobs = {job(3, 30, "brake pads front")};
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), notes, 69);
  const UpkeepRow* front = find(van, "brake pads", "front", PartRule::measured);
  REQUIRE(front);
  CHECK(front->state.remaining.figure->value == doctest::Approx(9.0));
  CHECK_FALSE(front->state.due);
  CHECK_FALSE(find(van, "brake pads", "rear", PartRule::measured)->state.used.figure);
}

TEST_CASE("upkeep: friction's share of the last four weeks stands beside the pads") {
  Fleet of = fleet("");
  const VanDuty duty = duty_of(weeks_of_driving(10), {}, of.zone, at(69));
  // 100 falls from 50 km/h, of which the pack took two thirds of what the wheels gave.
  FallSums falls;
  falls.kinetic_j_per_kg = 100 * 96.45;
  falls.regen_kwh = 100 * 2'800 * 96.45 / 3.6e6 * 0.5;
  falls.fall_s = falls.seen_s = 800;
  FallSums long_ago = falls;
  long_ago.regen_kwh = 0;
  const std::vector<TripBraking> braking{{at(1), long_ago}, {at(60), falls}};
  CHECK(upkeep_of(of, {"Linden", ""}, duty, {}, braking)
            .friction_share.why.find("unladen_weight_kg") != std::string::npos);
  of.vans[0].plated_weight_kg = 3'500;
  of.vans[0].unladen_weight_kg = 2'100;
  const MaybeFigure share = upkeep_of(of, {"Linden", ""}, duty, {}, braking).friction_share;
  REQUIRE(share.figure);
  CHECK(share.figure->value == doctest::Approx(1 - 0.5 / 0.75 / 1.03).epsilon(0.01));
  CHECK(share.figure->low < share.figure->value);
  CHECK(share.figure->high > share.figure->value);
}

TEST_CASE("upkeep: a warranty runs out by distance or by date, whichever comes first") {
  Fleet of = fleet("");
  of.vans[0].warranties.push_back({"pack", 30'000, 2, std::chrono::year{2025} / 3 / 1, 5'000});
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), {}, 69);
  const UpkeepRow* distance = find(van, "warranty: pack", "", PartRule::distance);
  const UpkeepRow* age = find(van, "warranty: pack", "", PartRule::age);
  REQUIRE(distance);
  REQUIRE(age);
  CHECK(distance->state.used.figure->value == doctest::Approx(18'500));
  CHECK(distance->state.remaining.figure->value == doctest::Approx(11'500));
  CHECK(text_of(age->state.due->likely) == "2027-03-01");
  CHECK(*distance->decided_by == PartRule::distance);  // 230 days away: 2026-10-27
  CHECK(text_of(distance->state.due->likely) == "2026-10-27");
}

TEST_CASE("upkeep: hours, starts and energy since the fitting") {
  const Fleet of = fleet(
      "[[part]]\nname = \"bearing\"\nvans = [\"Linden\"]\nlimit_hours = 1000\n"
      "limit_starts = 5000\nlimit_kwh = 9000\nfitted = 2026-01-29\n");
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), {}, 69);
  // 2026-01-29 is day 28: six weeks of five trips of 2 h and 19 kWh.
  CHECK(find(van, "bearing", "", PartRule::hours)->state.used.figure->value == doctest::Approx(60));
  CHECK(find(van, "bearing", "", PartRule::starts)->state.used.figure->value ==
        doctest::Approx(60));
  CHECK(find(van, "bearing", "", PartRule::energy)->state.used.figure->value ==
        doctest::Approx(570));
  CHECK(find(van, "bearing", "", PartRule::starts)->state.due);
  // The motor's own counters are counted there; the charger's are listed.
  CHECK(find(van, "motor and gearbox", "", PartRule::hours) == nullptr);
  CHECK(find(van, "on-board charger", "", PartRule::hours)->state.used.figure->value ==
        doctest::Approx(100));
  CHECK(find(van, "on-board charger", "", PartRule::energy)->state.used.figure->value ==
        doctest::Approx(675));
}

// One silent van, by hand: 61,200 km on 1 January, 65,040 km on 70 days later: 54.86 km
// a day. The timing of its gear oil was noted at 61,200 km, and lasts 20,000 km: 16,160 km
// are left, which are 294.6 days, and 80 days before the 374 of the first day.
TEST_CASE("upkeep: a silent van's dates come from odometer notes alone") {
  const Fleet of = fleet("[[part]]\nname = \"gear oil\"\nlimit_km = 20000\n");
  VanNotes notes;
  notes.odometer = {odometer(1, 0, 61'200), odometer(2, 70, 65'040)};
  notes.jobs = {job(3, 0, "gear oil")};
  const VanUpkeep van = upkeep(of, {}, notes, 70);
  const UpkeepRow* row = find(van, "gear oil", "", PartRule::distance);
  REQUIRE(row);
  CHECK(row->state.remaining.figure->value == doctest::Approx(16'160));
  REQUIRE(row->state.due);
  CHECK((row->state.due->likely - local(70)).count() == 295);
  CHECK(row->state.basis == "readings of 2026-01-01 and 2026-03-12");
  // 65,040 km are 40,414 miles: 3.109 years of 13,000.
  CHECK(van.equivalent_years.figure->value == doctest::Approx(3.1088).epsilon(1e-4));
  CHECK(find(van, "on-board charger", "", PartRule::hours)->state.used.why.find("no card") !=
        std::string::npos);
}

TEST_CASE("upkeep: fewer than 14 days tell what is left, and no date") {
  const Fleet of = fleet(
      "[[part]]\nname = \"gear oil\"\nvans = [\"Linden\"]\nlimit_km = 20000\n"
      "fitted = 2026-01-01\nfitted_km = 20000\n");
  const VanUpkeep van = upkeep(of, weeks_of_driving(1), {}, 6);
  const UpkeepRow* row = find(van, "gear oil", "", PartRule::distance);
  CHECK(row->state.remaining.figure->value == doctest::Approx(20'000 - 350));
  CHECK_FALSE(row->state.due);
  CHECK(row->state.due_why.find("too early to tell") == 0);
}

TEST_CASE("upkeep: the parts of a van that was bought new are as old as the van") {
  Fleet of = fleet("[[part]]\nname = \"gear oil\"\nlimit_years = 5\n");
  of.vans[0].purchase = Purchase{std::chrono::year{2024} / 6 / 1, 30'000, 12};
  const VanUpkeep van = upkeep(of, {}, {}, 10);
  CHECK(text_of(find(van, "gear oil", "", PartRule::age)->state.due->likely) == "2029-06-01");
  CHECK(find(van, "gear oil", "", PartRule::age)->last_source == "new with the van");
  of.vans[0].purchase->odometer_km = 40'000;
  CHECK_FALSE(find(upkeep(of, {}, {}, 10), "gear oil", "", PartRule::age)->state.due);
}

TEST_CASE("upkeep: every row has a cell for each column, and every null its reason") {
  Fleet of = fleet("[[part]]\nname = \"gear oil\"\nlimit_km = 20000\nlimit_years = 5\n");
  of.vans[0].warranties.push_back({"van", std::nullopt, 3, std::nullopt, 0});
  VanNotes notes;
  notes.treads = {tread(1, 0, Wheel::front_left, 6.0), tread(5, 69, Wheel::front_left, 4.0)};
  for (const VanParts& parts : {VanParts{}, weeks_of_driving(10)}) {
    const VanUpkeep van = upkeep(of, parts, notes, 69);
    CHECK(van.rows.size() > 8);
    for (const UpkeepRow& one : van.rows) {
      const Row row = row_of(van, one);
      REQUIRE(row.size() == upkeep_columns().size());
      for (std::size_t k = 0; k < row.size(); ++k) {
        CAPTURE(upkeep_columns()[k].name);
        CHECK((row[k].known() || !row[k].why.empty()));
        CHECK((row[k].known() || upkeep_columns()[k].may_be_unknown));
      }
    }
  }
}

TEST_CASE("upkeep: the order of notes does not matter") {
  const Fleet of = fleet("[[part]]\nname = \"gear oil\"\nlimit_km = 20000\n");
  std::vector<Note> notes;
  const auto add = [&](NoteKind kind, int day, std::vector<NoteValue> values) {
    Note note;
    note.id = static_cast<std::uint32_t>(notes.size() + 1);
    note.van = "Linden";
    note.when = on(day);
    note.kind = kind;
    std::ranges::copy(values, note.values.begin());
    notes.push_back(note);
  };
  for (int day = 0; day < 100; day += 20) {
    add(NoteKind::odometer, day, {{"", 1000.0 + 40 * day, 1}});
    add(NoteKind::tread, day, {{"fl", 0, 0}, {"x", 8.0 - 0.02 * day, 0.1}, {}});
  }
  add(NoteKind::job, 10, {{"gear oil", 0, 0}, {"90", 90, 1}, {}});
  add(NoteKind::tyre_moved, 50, {{"fl", 0, 0}, {"fr", 0, 0}, {}});
  std::mt19937 random{9};
  std::vector<Row> first;
  for (int round = 0; round < 10; ++round) {
    const VanUpkeep van = upkeep(of, {}, van_notes_of(notes, "Linden"), 100);
    std::vector<Row> rows;
    for (const UpkeepRow& one : van.rows) rows.push_back(row_of(van, one));
    if (round == 0) first = rows;
    REQUIRE(rows.size() == first.size());
    for (std::size_t k = 0; k < rows.size(); ++k)
      for (std::size_t cell = 0; cell < rows[k].size(); ++cell) {
        CHECK(rows[k][cell].why == first[k][cell].why);
        CHECK(rows[k][cell].value.index() == first[k][cell].value.index());
        if (const auto* figure = std::get_if<Figure>(&rows[k][cell].value))
          CHECK(figure->value == std::get<Figure>(first[k][cell].value).value);
        if (const auto* text = std::get_if<std::string>(&rows[k][cell].value))
          CHECK(*text == std::get<std::string>(first[k][cell].value));
      }
    std::ranges::shuffle(notes, random);
  }
}

TEST_CASE("upkeep: pads that got thicker are new ones, for their age and distance as well") {
  const Fleet of = fleet(
      "[[part]]\nname = \"brake pads\"\ngauge = \"pad\"\nvans = [\"Linden\"]\nlimit_km = 50000\n"
      "limit_years = 4\nfitted = 2025-01-01\nfitted_km = 5000\n");
  VanNotes notes;
  const auto pad = [](std::uint32_t id, int day, double mm) {
    return PadNote{id, on(day), Axle::front, mm, 0.5};
  };
  notes.pads = {pad(1, 0, 4.0), pad(2, 28, 11.0), pad(3, 69, 10.5)};
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), notes, 69);
  const UpkeepRow* distance = find(van, "brake pads", "front", PartRule::distance);
  REQUIRE(distance);
  CHECK(*distance->last == local(28));
  CHECK(distance->last_source == "new pads by their thickness");
  // Fitted on some day from 0 to 28: 21,435 km in the middle of the one, 20,035 of the other.
  CHECK(distance->state.used.figure->value ==
        doctest::Approx((23'500 - 21'435 + 23'500 - 20'035) / 2.0));
  CHECK(distance->state.used.figure->low < 2'070);
  CHECK(distance->state.used.figure->high > 3'460);
  const UpkeepRow* age = find(van, "brake pads", "front", PartRule::age);
  CHECK(age->state.due->earliest < age->state.due->likely);
  CHECK(find(van, "brake pads", "front", PartRule::measured)->state.used.figure->value ==
        doctest::Approx(0.5));
  // The rear ones are those of fleet.toml.
  CHECK(find(van, "brake pads", "rear", PartRule::distance)->last_source == "fleet.toml");
  CHECK(find(van, "brake pads", "rear", PartRule::distance)->state.used.figure->value ==
        doctest::Approx(18'500));
}

TEST_CASE("upkeep: a reading from long ago goes on at the rate of use, and dates begin there") {
  const Fleet of = fleet("[[part]]\nname = \"gear oil\"\nlimit_km = 20000\n");
  VanNotes notes;
  notes.odometer = {odometer(1, 0, 61'200), odometer(2, 70, 65'040)};
  notes.jobs = {job(3, 0, "gear oil")};
  const VanUpkeep then = upkeep(of, {}, notes, 70);
  // By hand: 54.857 km a day, 100 days later: 5,486 km more.
  const VanUpkeep van = upkeep(of, {}, notes, 170);
  const UpkeepRow* row = find(van, "gear oil", "", PartRule::distance);
  CHECK(row->state.used.figure->value == doctest::Approx(3'840 + 5'485.7));
  CHECK(row->state.remaining.figure->value == doctest::Approx(16'160 - 5'485.7));
  CHECK(row->state.remaining.figure->low < 10'000);
  CHECK(row->state.due->likely ==
        find(then, "gear oil", "", PartRule::distance)->state.due->likely);
  CHECK(van.odometer_km.figure->value == doctest::Approx(65'040 + 5'485.7));
  CHECK(*van.odometer_known_to == local(70));
  CHECK(row->remark == "counted to 2026-03-12, then by its rate of use");
  // A year later nobody knows what it does now.
  const VanUpkeep old = upkeep(of, {}, notes, 70 + 366);
  const UpkeepRow* stale = find(old, "gear oil", "", PartRule::distance);
  CHECK(stale->state.due_why.find("more than a year ago") != std::string::npos);
  CHECK(stale->state.used.figure->value == 3'840);
  CHECK(stale->remark == "counted to 2026-03-12, what was used since is not known");
  CHECK(van.equivalent_years.figure->high > van.equivalent_years.figure->value);
}

TEST_CASE("upkeep: a part that was renewed behind the last reading has the use since then") {
  const Fleet of = fleet("[[part]]\nname = \"gear oil\"\nlimit_km = 20000\n");
  VanNotes notes;
  notes.odometer = {odometer(1, 0, 61'200), odometer(2, 70, 65'040)};
  notes.jobs = {job(3, 150, "gear oil")};
  const VanUpkeep van = upkeep(of, {}, notes, 170);
  const UpkeepRow* row = find(van, "gear oil", "", PartRule::distance);
  REQUIRE(row->state.used.figure);
  CHECK(row->state.used.figure->value == doctest::Approx(20 * 3'840 / 70.0));
  // 20,000 km at 54.857 a day: 364.6 days from the job.
  CHECK((row->state.due->likely - local(150)).count() == 365);
}

TEST_CASE("upkeep: an overdue part says since when, and the rule that was first") {
  const Fleet of = fleet(
      "[[part]]\nname = \"gear oil\"\nvans = [\"Linden\"]\nlimit_km = 2000\nlimit_years = 1\n"
      "fitted = 2025-02-25\nfitted_km = 20000\n");
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), {}, 69);
  const UpkeepRow* distance = find(van, "gear oil", "", PartRule::distance);
  // 22,000 km: 29 driving days make 2,030 km, the last of them is day 38.
  CHECK(distance->state.due->likely == local(38));
  CHECK(text_of(find(van, "gear oil", "", PartRule::age)->state.due->likely) == "2026-02-25");
  CHECK(*distance->decided_by == PartRule::distance);
  CHECK(distance->state.remaining.figure->value == doctest::Approx(-1'500));
}

TEST_CASE("upkeep: a rule that is not known may come first, and is named") {
  const Fleet of = fleet(
      "[[part]]\nname = \"gear oil\"\nvans = [\"Linden\"]\nlimit_km = 20000\nlimit_years = 2\n"
      "fitted = 2025-06-01\n");
  const VanUpkeep van = upkeep(of, {}, {}, 10);
  const UpkeepRow* age = find(van, "gear oil", "", PartRule::age);
  CHECK(*age->decided_by == PartRule::age);
  CHECK(age->perhaps.find("distance may come first, it is not known: the odometer") == 0);
  CHECK(age->remark == age->perhaps);
}

TEST_CASE("upkeep: a sold van has no dates any more") {
  const Fleet of = fleet(
      "[[part]]\nname = \"gear oil\"\nvans = [\"Linden\"]\nlimit_years = 2\n"
      "fitted = 2025-06-01\n");
  VanNotes notes;
  notes.sold = {{5, on(20), 9'000}};
  CHECK(find(upkeep(of, {}, notes, 10), "gear oil", "", PartRule::age)->state.due);
  const VanUpkeep van = upkeep(of, {}, notes, 30);
  for (const UpkeepRow& row : van.rows) {
    CHECK_FALSE(row.state.due);
    CHECK(row.state.due_why == "it was sold on 2026-01-21");
    CHECK(row_of(van, row).size() == upkeep_columns().size());
  }
  CHECK(van.missing.empty());
  CHECK(parts_due_by(van, local(2'000)).empty());
}

TEST_CASE("upkeep: equivalent years stand beside those since the first use, not the purchase") {
  Fleet of = fleet("");
  of.vans[0].purchase = Purchase{std::chrono::year{2025} / 1 / 1, 9'000, 40'000};
  const VanUpkeep used = upkeep(of, {}, {}, 0);
  CHECK_FALSE(used.calendar_years);
  CHECK(used.calendar_why.find("bought with 40000 km") != std::string::npos);
  of.vans[0].facts.first_used = std::chrono::sys_days{std::chrono::year{2022} / 1 / 1};
  CHECK(*upkeep(of, {}, {}, 0).calendar_years == doctest::Approx(4.0).epsilon(0.001));
  of.vans[0].facts.first_used.reset();
  of.vans[0].purchase->odometer_km = 12;
  CHECK(*upkeep(of, {}, {}, 0).calendar_years == doctest::Approx(1.0).epsilon(0.001));
}

TEST_CASE("upkeep: one reading tells what is left to the law's depth, with the gauge's error") {
  VanNotes notes;
  notes.treads = {tread(1, 0, Wheel::front_left, 1.9)};
  const VanUpkeep van = upkeep(fleet(""), {}, notes, 0);
  const UpkeepRow* row = find(van, "tyre", "fl", PartRule::measured);
  CHECK(*row->legal_limit_mm == 1.6);
  CHECK(row->legal_remaining_mm.figure->value == doctest::Approx(0.3));
  CHECK(row->legal_remaining_mm.figure->low == doctest::Approx(0.3 - kZ95 * 0.25));
  CHECK_FALSE(row->legal_due);
  // Below the plan's 3.0 mm since that day.
  CHECK(row->state.due->likely == local(0));
}

TEST_CASE("upkeep: what no part counts is listed: hours, and energy beside a part by hours") {
  const Fleet of = fleet(
      "[[part]]\nname = \"charger\"\nvans = [\"Linden\"]\ncounts = \"charger\"\n"
      "limit_hours = 9000\nfitted = 2026-01-01\n"
      "[[part]]\nname = \"gear oil\"\nlimit_hours = 900\n");
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), {}, 69);
  CHECK(find(van, "on-board charger", "", PartRule::hours) == nullptr);
  REQUIRE(find(van, "on-board charger", "", PartRule::energy));
  CHECK(find(van, "on-board charger", "", PartRule::energy)->state.used.figure->value ==
        doctest::Approx(675));
  // A part that nobody said the fitting of tells nothing.
  REQUIRE(find(van, "motor and gearbox", "", PartRule::hours));
  CHECK(find(van, "motor and gearbox", "", PartRule::hours)->state.used.figure->value ==
        doctest::Approx(100));
  CHECK(find(van, "motor and gearbox", "", PartRule::energy));
}

TEST_CASE("upkeep: hours of a van that was new before its logger come from its odometer") {
  Fleet of = fleet("[[part]]\nname = \"bearing\"\nlimit_hours = 1000\n");
  of.vans[0].purchase = Purchase{std::chrono::year{2024} / 6 / 1, 30'000, 12};
  const VanUpkeep van = upkeep(of, weeks_of_driving(10), {}, 69);
  const Figure hours = *find(van, "bearing", "", PartRule::hours)->state.used.figure;
  // 100 h on record over 3,500 km; 20,035 km in the middle of the first day.
  CHECK(hours.value == doctest::Approx(100 + (20'035 - 12) / 35.0));
  CHECK(hours.low == doctest::Approx(100));
}

TEST_CASE("upkeep: what is due by a day: once a part, without treads and warranties") {
  Fleet of = fleet(
      "[[part]]\nname = \"brake fluid\"\nvans = [\"Linden\"]\nlimit_years = 2\nlimit_km = 90000\n"
      "fitted = 2024-02-01\n[[part]]\nname = \"cabin filter\"\nvans = [\"Linden\"]\n"
      "limit_years = 1\nfitted = 2025-01-15\n[[part]]\nname = \"coolant\"\nvans = [\"Linden\"]\n"
      "limit_years = 5\nfitted = 2025-01-15\n");
  of.vans[0].warranties.push_back({"van", std::nullopt, 1, std::chrono::year{2025} / 1 / 10, 0});
  VanNotes notes;
  notes.treads = {tread(1, 0, Wheel::front_left, 2.0)};
  const auto due = parts_due_by(upkeep(of, {}, notes, 0), local(40));
  REQUIRE(due.size() == 2);
  CHECK(due[0].part == "cabin filter");
  CHECK(text_of(due[0].due) == "2026-01-15");
  CHECK(due[1].part == "brake fluid");
}

}  // namespace packmile::testing
