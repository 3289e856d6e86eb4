#include "ledger/ledger.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <fstream>

#include "ledger/depot.hpp"
#include "ledger/schema.hpp"
#include "ledger/sql_fields.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using namespace std::chrono;

namespace {

UtcTime at(std::int64_t ms) { return UtcTime{milliseconds{ms}}; }

Trip a_trip() {
  Trip t;
  t.start = at(1'772'000'000'123);
  t.end = at(1'772'000'900'456);
  t.start_doubt = {1'500, 2'500};
  t.end_doubt = {std::nullopt, 60'000};
  t.distance_km = MaybeFigure::known({12.345678901234567, 12.1, 12.6, 0.05});
  t.distance_source = DistanceSource::speed;
  t.discharge_kwh = MaybeFigure::known({3.1, 3.0, 3.2, 0.01});
  t.regen_kwh = MaybeFigure::unknown("too \"little\", seen");
  t.soc_start_pct = 86.27450980392157;
  t.ambient_mean_c = -3.5;
  t.moving_kmh = 37.25;
  t.energy_method = EnergyMethod::soc_nominal;
  t.coverage = 0.987;
  t.current_verdict = CurrentVerdict::not_pack_current;
  t.findings = {Finding::frozen_signals, Finding::gap};
  return t;
}

VanRecord a_van(const std::string& key = "1M8GDM9AXKP042788") {
  VanRecord van{key, {"Linden", key}, "f1", {Finding::van_unknown}, {}, {}, {}, {}, {}, {}, {}};
  van.cards = {
      {7, at(1'772'000'000'000), at(1'772'000'600'000), {Finding::van_changed}, 12, 2, 4000, 3, 81},
      {9, {}, {}, {}}};
  van.lost = {{7, std::nullopt, at(1'772'000'000'000), 40, LostWhy::overwritten},
              {7, at(1'772'000'600'000), std::nullopt, 2, LostWhy::damaged_or_missing}};
  van.figures.trips = {a_trip()};
  ChargeSession session;
  session.start = at(1'772'010'000'000);
  session.end = at(1'772'020'000'000);
  session.kind = ChargeKind::dc;
  session.source = SessionSource::inferred;
  session.pack_kwh = MaybeFigure::known({20, 19, 21, 0.1});
  session.coverage = 1.0000000001;  // the rounding of a sum
  session.band_hours = {0.25, 0, 6.5, 0, 0, 0, 0, 0.125};
  session.curve = {{0, 0}, {3'600'000, 6.98125}, {10'000'000, 20.5}};
  van.figures.sessions = {session};
  Stand stand;
  stand.start = session.end;
  stand.end = stand.start + minutes{3};
  stand.charge_ah = MaybeFigure::known({0.5, 0.4, 0.6, 0.01});
  van.figures.stands = {stand};
  Verdict coding;
  coding.answer = VerdictAnswer::agreed;
  coding.word = "offset";
  coding.evidence = "812 words";
  coding.ecu = 0x7E8;
  coding.calibration_id = "CAL";
  coding.decided_on = at(5);
  Verdict offset = coding;
  offset.question = VerdictQuestion::offset_a;
  offset.word.clear();
  offset.number = Figure{0.31, 0.27, 0.35, 0};
  offset.segment = 2;
  Verdict silent;
  silent.question = VerdictQuestion::speed_rounding;
  silent.answer = VerdictAnswer::not_applicable;
  silent.evidence = "the van answers no speed";
  van.verdicts = {coding, offset, silent};
  return van;
}

// A row as text, to compare two of them.
std::string told(const Row& row) {
  std::string out;
  for (const Cell& cell : row) {
    out += std::to_string(cell.value.index()) + cell.why;
    if (const auto* f = std::get_if<Figure>(&cell.value))
      for (const double number : {f->value, f->low, f->high, f->scatter})
        out += " " + std::to_string(number);
    if (const auto* number = std::get_if<double>(&cell.value)) out += std::to_string(*number);
    if (const auto* number = std::get_if<std::int64_t>(&cell.value)) out += std::to_string(*number);
    if (const auto* text = std::get_if<std::string>(&cell.value)) out += *text;
    if (const auto* time = std::get_if<UtcTime>(&cell.value))
      out += std::to_string(time->time_since_epoch().count());
    if (const auto* words = std::get_if<std::vector<std::string>>(&cell.value))
      for (const std::string& word : *words) out += word + " ";
    out += "|";
  }
  return out;
}

// SQL columns of a table, in order.
std::vector<std::string> columns_of(const std::filesystem::path& file, const std::string& table) {
  Db db = Db::open(file).value();
  auto statement = Statement::prepare(db, "SELECT name FROM pragma_table_info('" + table + "')");
  std::vector<std::string> out;
  while (statement->step().value()) out.push_back(statement->text(0));
  return out;
}

}  // namespace

TEST_CASE("ledger: what goes in comes out") {
  const test::TempFolder scratch;
  Ledger ledger = Ledger::open(scratch.path() / "depot.db").value();
  REQUIRE(ledger.replace_van(a_van()));
  const auto vans = ledger.vans().value();
  REQUIRE(vans.size() == 1);
  CHECK(vans[0].names.van == "Linden");
  CHECK(vans[0].fingerprint == "f1");
  CHECK(vans[0].findings == std::vector{Finding::van_unknown});

  CHECK(ledger.lost(vans[0].id).value() == a_van().lost);
  const auto cards = ledger.cards(vans[0].id).value();
  REQUIRE(cards.size() == 2);
  CHECK(cards[0].to == at(1'772'000'600'000));
  CHECK(cards[0].findings == std::vector{Finding::van_changed});
  CHECK(cards[0].boots == 12);
  CHECK(cards[0].boots_without_clock == 2);
  CHECK(cards[0].sectors == 4000);
  CHECK(cards[0].sectors_missing == 3);
  CHECK(cards[0].requests_while_parked == 81);
  CHECK_FALSE(cards[1].from.has_value());
  const Trip want = a_trip();
  const auto trips = ledger.trips(vans[0].id, {}).value();
  REQUIRE(trips.size() == 1);
  const Trip& got = trips[0];
  CHECK(got.start == want.start);
  CHECK(got.end == want.end);
  CHECK(got.start_doubt == want.start_doubt);
  CHECK(got.end_doubt == want.end_doubt);
  CHECK(got.distance_km.figure->value == want.distance_km.figure->value);
  CHECK(got.distance_km.figure->scatter == 0.05);
  CHECK(got.distance_source == DistanceSource::speed);
  CHECK(got.regen_kwh.why == want.regen_kwh.why);
  CHECK_FALSE(got.net_kwh.figure.has_value());
  CHECK(got.soc_start_pct == want.soc_start_pct);
  CHECK_FALSE(got.soc_end_pct.has_value());
  CHECK(got.ambient_mean_c == -3.5);
  CHECK(got.energy_method == EnergyMethod::soc_nominal);
  CHECK(got.current_verdict == CurrentVerdict::not_pack_current);
  CHECK(got.findings == want.findings);
  CHECK(got.moving_kmh == want.moving_kmh);
  CHECK_FALSE(got.stops.has_value());

  const auto sessions = ledger.sessions(vans[0].id, {}).value();
  REQUIRE(sessions.size() == 1);
  CHECK(sessions[0].kind == ChargeKind::dc);
  CHECK(sessions[0].source == SessionSource::inferred);
  CHECK(sessions[0].coverage == 1.0);
  CHECK(sessions[0].band_hours == a_van().figures.sessions[0].band_hours);
  const auto stands = ledger.stands(vans[0].id, {}).value();
  REQUIRE(stands.size() == 1);
  CHECK(stands[0].charge_ah.figure->value == 0.5);

  const auto verdicts = ledger.verdicts(vans[0].id).value();
  REQUIRE(verdicts.size() == 3);
  CHECK(verdicts[0].question == VerdictQuestion::coding);
  CHECK(verdicts[0].word == "offset");
  CHECK(verdicts[0].ecu == 0x7E8);
  CHECK(verdicts[0].calibration_id == "CAL");
  CHECK(verdicts[0].decided_on == at(5));
  CHECK_FALSE(verdicts[0].number.has_value());
  CHECK(verdicts[1].answer == VerdictAnswer::agreed);
  CHECK(verdicts[1].segment == 2);
  CHECK(verdicts[1].number->high == 0.35);
  CHECK(verdicts[2].answer == VerdictAnswer::not_applicable);
  CHECK(verdicts[2].evidence == "the van answers no speed");
  CHECK(verdicts[2].ecu == 0);

  const auto covered = ledger.covered(vans[0].id).value();
  CHECK(*covered.from == want.start);
  CHECK(*covered.to == stands[0].end);
}

TEST_CASE("ledger: capacity, months of the fade and the witness come out as they went in") {
  const test::TempFolder scratch;
  Ledger ledger = Ledger::open(scratch.path() / "depot.db").value();
  VanRecord van = a_van();
  CapacityRow row;
  row.date = at(1'772'000'000'000);
  row.method = CapacityMethod::voltage_window;
  row.scope = CapacityScope::latest;
  row.ah = MaybeFigure::known({62.5, 61, 64, 0.5});
  row.kwh = MaybeFigure::unknown("no capacity");
  row.window_low_pct = 20.5;
  row.soc_step_pct = 0.5;
  row.window_high_v = 398.25;
  row.temp_c = -4;
  row.stratum = TemperatureStratum::below_5;
  row.charge_kind = ChargeKind::ac;
  row.n_used = 7;
  row.n_rejected = 5;
  row.rejected = {{"small_window", 3}, {"outlier", 2}};
  row.segment = 2;
  row.change_pct = MaybeFigure::known({-4, -6, -2, 1});
  row.relative_only = false;
  row.against_expectation = LineVerdict::better;
  row.reason = "Ah between \"two\" voltages";
  row.findings = {Finding::scale_contradicted};
  CapacityRow nothing;
  nothing.ah = MaybeFigure::unknown("no charge");
  van.capacity = {row, nothing};
  van.fade.points = {{24'313, 150.5, 0.4, 0.9, 0.7, 41'000.5, {}, 12.25}};
  van.fade.witness = {WitnessVerdict::agrees_still, "no quarrel"};
  van.fade.age_since_logged = true;
  REQUIRE(ledger.replace_van(van));
  const std::int64_t id = ledger.vans().value()[0].id;
  const auto got = ledger.capacity(id).value();
  REQUIRE(got.size() == 2);
  CHECK(told(row_of(van.names, got[0])) == told(row_of(van.names, row)));
  CHECK(told(row_of(van.names, got[1])).find("no charge|") != std::string::npos);
  CHECK_FALSE(got[1].date.has_value());
  CHECK(got[0].soc_step_pct == doctest::Approx(0.5));
  const FadeSource fade = ledger.fade(id).value();
  REQUIRE(fade.points.size() == 1);
  CHECK(fade.points[0].month == 24'313);
  CHECK(fade.points[0].ah == 150.5);
  CHECK(fade.points[0].u_random_ah == 0.4);
  CHECK(fade.points[0].u_gain_ah == 0.9);
  CHECK(fade.points[0].u_offset_ah == 0.7);
  CHECK(fade.points[0].odometer_km == 41'000.5);
  CHECK_FALSE(fade.points[0].age_years.has_value());
  CHECK(fade.points[0].full_cycles == 12.25);
  CHECK(fade.witness.verdict == WitnessVerdict::agrees_still);
  CHECK(fade.witness.reason == "no quarrel");
  CHECK(fade.age_since_logged);
  CHECK_FALSE(fade.cycles_since_logged);
}

TEST_CASE("ledger: a van is replaced whole, others stay") {
  const test::TempFolder scratch;
  Ledger ledger = Ledger::open(scratch.path() / "depot.db").value();
  REQUIRE(ledger.replace_van(a_van()));
  REQUIRE(ledger.replace_van(a_van("WAUZZZ8V5KA000001")));
  VanRecord again = a_van();
  again.figures.trips.clear();
  REQUIRE(ledger.replace_van(again));
  const auto vans = ledger.vans().value();
  REQUIRE(vans.size() == 2);
  for (const LedgerVan& van : vans)
    CHECK(ledger.trips(van.id, {}).value().size() == (van.key == again.key ? 0 : 1));
  // Nothing is left of the old van, in any table.
  Db db = Db::open(scratch.path() / "depot.db").value();
  CHECK(db.number("SELECT count(*) FROM session").value() == 2);
  CHECK(db.number("SELECT count(*) FROM verdict").value() == 6);
}

TEST_CASE("ledger: a period is half open") {
  const test::TempFolder scratch;
  Ledger ledger = Ledger::open(scratch.path() / "depot.db").value();
  REQUIRE(ledger.replace_van(a_van()));
  const auto id = ledger.vans().value()[0].id;
  const UtcTime start = a_trip().start;
  CHECK(ledger.trips(id, {start, {}}).value().size() == 1);
  CHECK(ledger.trips(id, {start + milliseconds{1}, {}}).value().empty());
  CHECK(ledger.trips(id, {{}, start}).value().empty());
  CHECK(ledger.trips(id, {{}, start + milliseconds{1}}).value().size() == 1);
}

// The schema is literal text that never changes; rows grow: they must agree.
TEST_CASE("ledger: the tables spell their columns as the rows do") {
  const test::TempFolder scratch;
  const auto file = scratch.path() / "depot.db";
  REQUIRE(Ledger::open(file));
  const auto in_table = [&](const char* table, const auto& columns) {
    std::vector<std::string> want{"van_id"};
    want.insert(want.end(), columns.names.begin(), columns.names.end());
    CHECK(columns_of(file, table) == want);
  };
  SqlColumns trip, session, stand, capacity;
  const Trip t;
  const ChargeSession s;
  const Stand st;
  fields::of_trip(trip, t);
  fields::of_session(session, s, {}, {});
  fields::of_stand(stand, st);
  const CapacityRow c;
  fields::of_capacity(capacity, c);
  in_table("trip", trip);
  in_table("session", session);
  in_table("stand", stand);
  in_table("capacity", capacity);
  for (const Column& column : capacity_columns())
    if (column.name != "van" && column.name != "vin") {
      CAPTURE(column.name);
      CHECK(std::ranges::find(capacity.names, column.name) != capacity.names.end());
    }
  // Every key of a printed row is a column, but for what the ledger does not keep:
  // why a time is not known follows from the two that bound it.
  for (const Column& column : trip_columns())
    for (const auto& key : keys_of(column))
      if (!key.starts_with("van") && !key.starts_with("vin") &&
          !(column.kind == ColumnKind::time && key != column.name)) {
        CAPTURE(key);
        CHECK(std::ranges::find(trip.names, key) != trip.names.end());
      }
}

TEST_CASE("ledger: a period marks what may belong to another one, and counts what lies beside it") {
  const test::TempFolder scratch;
  Ledger ledger = Ledger::open(scratch.path() / "depot.db").value();
  VanRecord van;
  van.key = "a";
  const auto add = [&](std::int64_t start_s, TimeDoubt doubt) {
    Trip trip;
    trip.start = at(start_s * 1'000);
    trip.end = at(start_s * 1'000 + 1);
    trip.start_doubt = trip.end_doubt = doubt;
    van.figures.trips.push_back(trip);
  };
  add(50, {});                             // before it
  add(99, {500, 1'000});                   // may have started as it did
  add(100, {});                            // in it
  add(150, {50'001, 0});                   // or before
  add(160, {std::nullopt, 1'000});         // or at any time before
  add(199, {1'000, 999});                  // just in it
  add(200, {1'000, std::nullopt});         // may have started before it ended
  add(300, {std::nullopt, std::nullopt});  // at any time
  REQUIRE(ledger.replace_van(van));
  const auto id = ledger.vans().value()[0].id;
  const Period period{at(100'000), at(200'000)};
  const auto trips = ledger.trips(id, period).value();
  REQUIRE(trips.size() == 4);
  const auto unsure = [&](std::size_t k) {
    return std::ranges::find(trips[k].findings, Finding::period_unsure) != trips[k].findings.end();
  };
  CHECK_FALSE(unsure(0));
  CHECK(unsure(1));
  CHECK(unsure(2));
  CHECK_FALSE(unsure(3));
  CHECK(ledger.trips_beside(id, period).value() == 3);
  CHECK(ledger.trips_beside(id, {}).value() == 0);
  CHECK(ledger.sessions_beside(id, period).value() == 0);
  CHECK(ledger.trips_beside(id, {at(400'000), std::nullopt}).value() == 2);
  // Nothing is said to have happened when nobody knows.
  const auto covered = ledger.covered(id).value();
  CHECK(*covered.from == at(50'000));
  CHECK(*covered.to == at(200'001));
}

TEST_CASE("rows: a moment that nothing bounds is not known, and says how to find out") {
  Trip trip = a_trip();
  const auto cell = [&](std::string_view name) {
    const Rows rows{trip_columns(), {}};
    return row_of({"Alder", ""}, trip)[rows.column_of(name)];
  };
  CHECK(std::get<UtcTime>(cell("start_low").value) == trip.start - milliseconds{1'500});
  CHECK(std::get<UtcTime>(cell("start_high").value) == trip.start + milliseconds{2'500});
  CHECK(cell("end").known());
  CHECK_FALSE(cell("end_low").known());
  CHECK(cell("end_high").known());
  trip.end_doubt = {std::nullopt, std::nullopt};
  CHECK_FALSE(cell("end").known());
  CHECK(cell("end").why.find("--pulled-at") != std::string::npos);
  CHECK(cell("end_high").why.find("--pulled-at") != std::string::npos);
  trip.end_doubt = {};
  CHECK(std::get<UtcTime>(cell("end_low").value) == trip.end);
  CHECK(std::get<UtcTime>(cell("end_high").value) == trip.end);
}

TEST_CASE("ledger: tables are strict and times are integers") {
  const test::TempFolder scratch;
  REQUIRE(Ledger::open(scratch.path() / "depot.db"));
  Db db = Db::open(scratch.path() / "depot.db").value();
  const auto wrong = db.run("INSERT INTO odometer VALUES(1,'noon',1.0)");
  REQUIRE_FALSE(wrong);
  CHECK(wrong.error().what.find("odometer.time") != std::string::npos);
}

TEST_CASE("ledger: a newer one, a stranger and bytes are refused untouched") {
  const test::TempFolder scratch;
  const auto file = scratch.path() / "depot.db";
  REQUIRE(Ledger::open(file));
  { REQUIRE(Db::open(file).value().run("PRAGMA user_version=99")); }
  const auto newer = Ledger::open(file);
  REQUIRE_FALSE(newer);
  CHECK(newer.error().what.find("schema 99, this program knows " +
                                std::to_string(schema_version())) != std::string::npos);
  CHECK(Db::open(file).value().number("PRAGMA user_version").value() == 99);

  const auto stranger = scratch.path() / "stranger.db";
  { REQUIRE(Db::open(stranger).value().run("CREATE TABLE cats(name TEXT)")); }
  CHECK_FALSE(Ledger::open(stranger));

  const auto bytes = scratch.path() / "bytes.db";
  std::ofstream{bytes} << std::string(5000, 'x');
  const auto no_ledger = Ledger::open(bytes);
  REQUIRE_FALSE(no_ledger);
  CHECK(no_ledger.error().hint.find("packmile rebuild") != std::string::npos);
  CHECK(std::filesystem::file_size(bytes) == 5000);
}

TEST_CASE("ledger: migrations run once") {
  const test::TempFolder scratch;
  const auto file = scratch.path() / "depot.db";
  REQUIRE(Ledger::open(file).value().replace_van(a_van()));
  Ledger again = Ledger::open(file).value();
  CHECK(again.vans().value().size() == 1);
}

TEST_CASE("ledger: a depot is made once, in an empty folder, with words that are right") {
  const test::TempFolder scratch;
  const auto root = scratch.path() / "depot";
  REQUIRE(make_depot(root, "Europe/London", "GBP"));
  CHECK(is_depot(root));
  CHECK(std::filesystem::is_directory(root / kArchiveFolderName));
  std::ifstream notes{root / kNotesFileName};
  std::string head;
  std::getline(notes, head);
  CHECK(head == "van,date,kind,v1,v2,v3,remark");
  CHECK(read_depot(root).errors.empty());
  CHECK_FALSE(make_depot(root, "Europe/London", "GBP"));
  CHECK_FALSE(make_depot(root / kFleetFileName, "UTC", "GBP"));
  CHECK_FALSE(make_depot(scratch.path() / "other", "Mars", "GBP"));
  CHECK_FALSE(make_depot(scratch.path() / "other", "UTC", "pounds"));
  CHECK_FALSE(std::filesystem::exists(scratch.path() / "other"));
}
