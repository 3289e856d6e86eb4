#include "ledger/rebuild.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <fstream>

#include "archive/archive.hpp"
#include "card/card_survey.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
namespace fs = std::filesystem;
using test::CardMaker;
using test::SessionText;
using test::TempFolder;
using namespace std::chrono_literals;

namespace {

constexpr char kOtherVin[] = "11111111111111111";
constexpr std::uint64_t kStartMs = 1'772'000'000'000;  // 2026-02-25

// A quarter of an hour of stop and go at 5 Hz: the current follows the
// acceleration, the voltage sags with it, the SoC falls.
void drive(CardMaker& card, Tick from, int turn = 1) {
  for (int k = 0; k < 4500; ++k) {
    const double t = k * 0.2;
    const double v_kmh = 30 - 30 * std::cos(t * 2 * 3.14159265 / 60);
    const double a = 30 / 3.6 * 2 * 3.14159265 / 60 * std::sin(t * 2 * 3.14159265 / 60);
    const double amps = 5 + 12 * v_kmh / 30 + 6 * a * v_kmh;
    const double volts = 370 - 0.09 * amps;
    const auto tick = from + static_cast<Tick>(k) * 200;
    card.response(tick, test::pack_key(200),
                  {0x3F, 2, static_cast<std::uint32_t>(std::lround(volts * 64)),
                   static_cast<std::uint32_t>(std::lround(turn * amps * 10)) & 0xFFFF,
                   static_cast<std::uint32_t>(std::lround(v_kmh))});
    if (k % 25 == 0)
      card.response(tick + 5, test::soc_key(5000),
                    {200u - static_cast<std::uint32_t>(k / 500), 14'200});
  }
  card.close();
}

std::vector<std::uint8_t> card_of(std::uint32_t log_id, const std::string& vin,
                                  const std::string& name, std::uint64_t start_ms, int boots) {
  CardMaker card{log_id, 1024};
  card.settings(name, start_ms - 1000);
  for (int k = 0; k < boots; ++k) {
    card.boot(100 + static_cast<std::uint32_t>(k));
    SessionText text;
    text.vin = vin;
    text.clock =
        ClockSample{kClockSystem, start_ms + static_cast<std::uint64_t>(k) * 7'200'000, 1000, 1};
    text.calibration_id = "CAL1";
    card.session(1000, text);
    drive(card, 2000);
  }
  return card.bytes();
}

struct DepotOnDisk {
  TempFolder folder;
  Depot depot;

  explicit DepotOnDisk(const std::string& vans = "")
      : depot(make_depot(folder.path() / "depot", "Europe/London", "GBP").value()) {
    if (!vans.empty()) edit(vans);
  }
  void edit(const std::string& vans) {
    std::ofstream{depot.root / kFleetFileName} << "zone = 'Europe/London'\ncurrency = 'GBP'\n"
                                               << vans;
    DepotRead read = read_depot(depot.root);
    REQUIRE(read.errors.empty());
    depot = read.depot;
  }
  void write_notes(const std::string& text) {
    std::ofstream{depot.notes(), std::ios::binary} << text;
  }
  void import(std::span<const std::uint8_t> bytes) {
    const auto file = folder.write("card.log", bytes);
    auto archive = Archive::open(depot.archive()).value();
    auto import = archive.begin_import().value();
    const auto card = CardFile::open(file).value();
    (void)survey_card(
        card, [&](const SectorHeader& header, std::span<const std::uint8_t, kSectorBytes> sector) {
          import.add(header, sector);
        });
    REQUIRE(import.commit());
  }
  std::vector<RebuiltVan> rebuild_now(bool everything = false) {
    Ledger ledger = Ledger::open(depot.ledger()).value();
    auto vans = rebuild(depot, ledger, {everything, {}});
    REQUIRE(vans);
    return *vans;
  }
  // Every row of the ledger as text, without the numbers that SQLite gave.
  std::string dump() {
    Db db = Db::open(depot.ledger()).value();
    std::string out;
    for (const char* table : {"trip", "session", "stand", "verdict", "soc_turn", "soc_band",
                              "odometer", "capacity", "fade_month", "pack_witness"}) {
      const std::string name = table;
      auto columns = Statement::prepare(
          db, "SELECT name FROM pragma_table_info('" + name + "') WHERE name<>'van_id'");
      REQUIRE(columns);
      std::string line = "van.van";
      while (columns->step().value())
        line += "||','||quote(" + name + ".\"" + columns->text(0) + "\")";
      auto rows = Statement::prepare(db, "SELECT " + line + " AS line FROM " + name +
                                             " JOIN van ON van.id=van_id ORDER BY line");
      REQUIRE(rows);
      while (rows->step().value()) out += name + ": " + rows->text(0) + "\n";
    }
    return out;
  }
};

std::size_t readings_of(const DepotOnDisk& d, const char* van) {
  Ledger ledger = Ledger::open(d.depot.ledger()).value();
  return van_notes(ledger, van).value().odometer.size();
}

}  // namespace

TEST_CASE("rebuild: a card becomes trips with energy") {
  DepotOnDisk d{std::string{"[[van]]\nname = 'Linden'\nvin = '"} + test::kVin + "'\n"};
  d.import(card_of(1, test::kVin, "", kStartMs, 2));
  const auto vans = d.rebuild_now();
  REQUIRE(vans.size() == 1);
  CHECK(vans[0].names.van == "Linden");
  CHECK(vans[0].known_to_fleet);
  CHECK(vans[0].changed);
  Ledger ledger = Ledger::open(d.depot.ledger()).value();
  const auto id = ledger.vans().value()[0].id;
  const auto trips = ledger.trips(id, {}).value();
  REQUIRE(trips.size() == 2);
  for (const Trip& trip : trips) {
    CAPTURE(trip.net_kwh.why);
    REQUIRE(trip.net_kwh.figure.has_value());
    CHECK(trip.net_kwh.figure->value > 0.5);
    CHECK(trip.current_verdict == CurrentVerdict::agreed);
  }
  CHECK(trips[1].start - trips[0].start == std::chrono::milliseconds{7'200'000});
}

TEST_CASE("rebuild: again changes nothing and a fact of one van changes that van alone") {
  const std::string linden = std::string{"[[van]]\nname = 'Linden'\nvin = '"} + test::kVin + "'\n";
  const std::string cedar = std::string{"[[van]]\nname = 'Cedar'\nvin = '"} + kOtherVin + "'\n";
  DepotOnDisk d{linden + cedar};
  d.import(card_of(1, test::kVin, "", kStartMs, 1));
  d.import(card_of(2, kOtherVin, "", kStartMs, 1));
  (void)d.rebuild_now();
  const std::string before = d.dump();
  for (const RebuiltVan& van : d.rebuild_now()) CHECK_FALSE(van.changed);
  CHECK(d.dump() == before);

  d.edit(linden + "nominal_kwh = 60\n" + cedar);
  for (const RebuiltVan& van : d.rebuild_now()) {
    CAPTURE(van.names.van);
    CHECK(van.changed == (van.names.van == "Linden"));
  }
  // Another name is only written over.
  d.edit(linden + "nominal_kwh = 60\n" + std::string{"[[van]]\nname = 'Yew'\nvin = '"} + kOtherVin +
         "'\n");
  for (const RebuiltVan& van : d.rebuild_now()) CHECK_FALSE(van.changed);
  CHECK(Ledger::open(d.depot.ledger()).value().vans().value()[1].names.van == "Yew");
}

TEST_CASE(
    "rebuild: a note and a line of expectation make their van's figures anew, and no other's") {
  const std::string linden = std::string{"[[van]]\nname = 'Linden'\nvin = '"} + test::kVin + "'\n";
  const std::string cedar = std::string{"[[van]]\nname = 'Cedar'\nvin = '"} + kOtherVin + "'\n";
  DepotOnDisk d{linden + cedar};
  d.import(card_of(1, test::kVin, "", kStartMs, 1));
  d.import(card_of(2, kOtherVin, "", kStartMs, 1));
  (void)d.rebuild_now();
  const auto changed = [&] {
    std::string names;
    for (const RebuiltVan& van : d.rebuild_now())
      if (van.changed) names += van.names.van + " ";
    return names;
  };
  const std::string head = "van,date,kind,v1,v2,v3,remark,id,replaces,entered\n";
  const std::string first = "Linden,2026-02-26,odometer,40000,,,,1,,\n";
  d.write_notes(head + first);
  CHECK(changed() == "Linden ");
  CHECK(changed().empty());
  // By VIN, and a correction.
  d.write_notes(head + first + kOtherVin + ",2026-02-26,meter,100,120,,,2,,\n");
  CHECK(changed() == "Cedar ");
  d.write_notes(head + first + kOtherVin + ",2026-02-26,meter,100,120,,,2,,\n" +
                "Linden,2026-02-26,odometer,40001,,,,3,1,\n");
  CHECK(changed() == "Linden ");
  {
    Ledger ledger = Ledger::open(d.depot.ledger()).value();
    CHECK(ledger.notes().value() == 3);
    const VanNotes notes = van_notes(ledger, "Linden").value();
    REQUIRE(notes.odometer.size() == 1);
    CHECK(notes.odometer[0].id == 3);
    CHECK(notes.odometer[0].km == 40001);
    CHECK(notes.odometer[0].step_km == 1);
    CHECK(notes.meter.empty());
    REQUIRE(van_notes(ledger, "Cedar").value().meter.size() == 1);
    CHECK(van_notes(ledger, "Cedar").value().meter[0].kwh() == doctest::Approx(20));
    CHECK(van_notes(ledger, "Rowan").value().odometer.empty());
  }
  // Neither a remark nor a note of a van without a card changes a figure.
  d.write_notes(head + first + kOtherVin + ",2026-02-26,meter,100,120,,after lunch,2,,\n" +
                "Linden,2026-02-26,odometer,40001,,,,3,1,\nRowan,2026-02-26,odometer,9,,,,4,,\n");
  CHECK(changed().empty());
  CHECK(readings_of(d, "Rowan") == 1);

  const std::string line = "expectation = [ { at_km = 200000, percent = 80 } ]\n";
  d.edit(linden + line + cedar);
  CHECK(changed() == "Linden ");
  d.edit(linden + line + cedar + "expectation = [ { at_years = 8, percent = 80 } ]\n");
  CHECK(changed() == "Cedar ");
  d.edit(linden + "expectation = [ { at_km = 200000, percent = 81 } ]\n" + cedar);
  CHECK(changed() == "Cedar Linden ");
}

TEST_CASE("rebuild: notes that are older than a van's name in fleet.toml stay its own") {
  DepotOnDisk d;
  d.import(card_of(1, test::kVin, "van 3", kStartMs, 1));
  d.write_notes("van,date,kind,v1\nvan 3,2026-02-26,odometer,40000\n");
  (void)d.rebuild_now();
  const auto readings = [&](const char* van) { return readings_of(d, van); };
  CHECK(readings("van 3") == 1);
  d.edit(std::string{"[[van]]\nname = 'Linden'\nvin = '"} + test::kVin + "'\n");
  (void)d.rebuild_now();
  CHECK(readings("Linden") == 1);
  CHECK(readings("van 3") == 0);
  // Another van may have taken the name since.
  d.edit(std::string{"[[van]]\nname = 'Linden'\nvin = '"} + test::kVin +
         "'\n[[van]]\nname = 'van 3'\n");
  (void)d.rebuild_now();
  CHECK(readings("Linden") == 0);
  CHECK(readings("van 3") == 1);
}

TEST_CASE("rebuild: the order of imports, halves and copies give the same ledger") {
  const auto whole = card_of(1, test::kVin, "", kStartMs, 3);
  const auto other = card_of(2, kOtherVin, "Cedar", kStartMs, 1);
  auto half = whole;
  for (std::size_t k = whole.size() / 6; k < whole.size(); ++k) half[k] = 0;

  DepotOnDisk a, b;
  a.import(half);
  (void)a.rebuild_now();
  a.import(whole);
  a.import(whole);
  a.import(other);
  (void)a.rebuild_now();
  b.import(other);
  b.import(whole);
  (void)b.rebuild_now();
  CHECK_FALSE(a.dump().empty());
  CHECK(a.dump() == b.dump());
  // And a ledger made from nothing is the one that grew.
  fs::remove(a.depot.ledger());
  (void)a.rebuild_now();
  CHECK(a.dump() == b.dump());
  (void)b.rebuild_now(true);
  CHECK(a.dump() == b.dump());
}

TEST_CASE("rebuild: whose card it is") {
  SUBCASE("a VIN that fleet.toml does not know: the name in the settings") {
    DepotOnDisk d;
    d.import(card_of(1, test::kVin, "Cedar", kStartMs, 1));
    const auto vans = d.rebuild_now();
    REQUIRE(vans.size() == 1);
    CHECK(vans[0].names.van == "Cedar");
    CHECK(vans[0].names.vin == test::kVin);
    CHECK_FALSE(vans[0].known_to_fleet);
  }
  SUBCASE("neither: the VIN") {
    DepotOnDisk d;
    d.import(card_of(1, test::kVin, "", kStartMs, 1));
    CHECK(d.rebuild_now()[0].names.van == test::kVin);
  }
  SUBCASE("nothing at all: the log") {
    DepotOnDisk d;
    d.import(card_of(0x2A, "", "", kStartMs, 1));
    const auto vans = d.rebuild_now();
    CHECK(vans[0].names.van == "log-0000002A");
    CHECK(vans[0].names.vin.empty());
  }
  SUBCASE("no VIN, a name that fleet.toml gives to a VIN: one van, its episodes in order") {
    DepotOnDisk d{std::string{"[[van]]\nname = 'Cedar'\nvin = '"} + test::kVin + "'\n"};
    d.import(card_of(1, test::kVin, "", kStartMs, 2));
    d.import(card_of(2, "", "Cedar", kStartMs + 3'600'000, 1));  // between the two boots
    const auto vans = d.rebuild_now();
    REQUIRE(vans.size() == 1);
    CHECK(vans[0].names.van == "Cedar");
    Ledger ledger = Ledger::open(d.depot.ledger()).value();
    const auto trips = ledger.trips(ledger.vans().value()[0].id, {}).value();
    REQUIRE(trips.size() == 3);
    // The SoC is up again at each start: a charge was missed in each silence. Out
    // of order the silences would overlap.
    const auto charges = ledger.sessions(ledger.vans().value()[0].id, {}).value();
    REQUIRE(charges.size() == 2);
    for (std::size_t k = 0; k < 2; ++k) {
      CHECK(charges[k].start >= trips[k].end);
      CHECK(charges[k].end <= trips[k + 1].start);
    }
  }
  SUBCASE("a name that belongs to another VIN is a finding, and not mixed up") {
    DepotOnDisk d{std::string{"[[van]]\nname = 'Cedar'\nvin = '"} + kOtherVin + "'\n"};
    d.import(card_of(1, test::kVin, "Cedar", kStartMs, 1));
    const auto vans = d.rebuild_now();
    REQUIRE(vans.size() == 1);
    CHECK(vans[0].names.van == test::kVin);
    CHECK(std::ranges::find(vans[0].findings, Finding::van_name_of_another_vin) !=
          vans[0].findings.end());
  }
}

TEST_CASE("rebuild: a van whose card is gone from the archive leaves the ledger") {
  DepotOnDisk d;
  d.import(card_of(1, test::kVin, "", kStartMs, 1));
  d.import(card_of(2, kOtherVin, "", kStartMs, 1));
  CHECK(d.rebuild_now().size() == 2);
  fs::remove_all(d.depot.archive() / "log-00000002");
  CHECK(d.rebuild_now().size() == 1);
  CHECK(Ledger::open(d.depot.ledger()).value().vans().value().size() == 1);
}

TEST_CASE("rebuild: an empty depot has no van") {
  DepotOnDisk d;
  CHECK(d.rebuild_now().empty());
  CHECK(d.rebuild_now(true).empty());
}

TEST_CASE("rebuild: when a card without a clock was pulled is kept, the latest counts, per state") {
  DepotOnDisk d;
  CardMaker card{7, 256};
  card.boot(1);
  SessionText text;
  text.vin = test::kVin;
  card.session(1000, text);
  drive(card, 2000);
  d.import(card.bytes());
  const UtcTime pulled{std::chrono::milliseconds{kStartMs}};
  for (const auto& [log_id, at] :
       {std::pair{7u, PulledCard{pulled, 300}}, std::pair{7u, PulledCard{pulled - 5h, 300}},
        std::pair{8u, PulledCard{pulled + 5h, 31}}, std::pair{7u, PulledCard{pulled + 5h, 400}}}) {
    auto archive = Archive::open(d.depot.archive()).value();
    auto import = archive.begin_import().value();
    REQUIRE(keep_pulled_at(archive, import, log_id, at));
    REQUIRE(import.commit());
  }
  CHECK(Archive::open(d.depot.archive()).value().text("pulled.csv").value() ==
        "log-00000007,2026-02-25T06:13:20.000+00:00,300\n"
        "log-00000008,2026-02-25T11:13:20.000+00:00,31\n"
        "log-00000007,2026-02-25T11:13:20.000+00:00,400\n");
  (void)d.rebuild_now();
  Ledger ledger = Ledger::open(d.depot.ledger()).value();
  const auto covered = ledger.covered(ledger.vans().value()[0].id).value();
  REQUIRE(covered.to.has_value());
  CHECK(*covered.to <= pulled);
  CHECK(pulled - *covered.to < std::chrono::minutes{1});
}

TEST_CASE("rebuild: a card that was told later to have been pulled bounds its rows anew") {
  DepotOnDisk d;
  CardMaker card{7, 256};
  card.settings("Cedar", kStartMs);
  card.boot(1);
  SessionText text;
  text.vin = test::kVin;
  card.session(1000, text);
  drive(card, 2000);
  d.import(card.bytes());
  (void)d.rebuild_now();
  const auto trip = [&] {
    Ledger ledger = Ledger::open(d.depot.ledger()).value();
    const auto trips = ledger.trips(ledger.vans().value()[0].id, {}).value();
    REQUIRE(trips.size() == 1);
    return trips[0];
  };
  const UtcTime prepared{std::chrono::milliseconds{kStartMs}};
  const Trip open = trip();
  CHECK(open.start_doubt.earliest(open.start) >= prepared);
  CHECK_FALSE(open.end_doubt.latest(open.end).has_value());
  const auto pulled_at = [&](UtcTime at) {
    auto archive = Archive::open(d.depot.archive()).value();
    auto import = archive.begin_import().value();
    REQUIRE(keep_pulled_at(archive, import, 7, {at, 255}));
    REQUIRE(import.commit());
    const auto vans = d.rebuild_now();
    CHECK(vans[0].changed);
    return trip();
  };
  const Trip bound = pulled_at(prepared + 10h);
  CHECK(*bound.end_doubt.latest(bound.end) <= prepared + 10h);
  CHECK(*bound.end_doubt.latest(bound.end) > prepared + 10h - 2s);
  // The row's middle is told, not the end that happens to be known.
  CHECK(bound.start - prepared > 4h);
  CHECK(bound.start - prepared < 6h);
  CHECK(bound.end - bound.start == open.end - open.start);
  CHECK(bound.net_kwh.figure->value == open.net_kwh.figure->value);
  CHECK(std::ranges::count(bound.findings, Finding::clock_guessed) == 1);
  const Trip later = pulled_at(prepared + 20h);
  CHECK(*later.end_doubt.latest(later.end) > prepared + 19h);
}

TEST_CASE("rebuild: facts of a van by VIN, else by a name that no other VIN has") {
  DepotOnDisk d{std::string{"[[van]]\nname = 'Cedar'\nvin = '"} + kOtherVin +
                "'\nnominal_ah = 160\n[[van]]\nname = 'Yew'\nnominal_ah = 90\n"};
  CHECK(facts_of(d.depot.fleet, {"Cedar", kOtherVin}).nominal_ah == 160.0);
  CHECK(facts_of(d.depot.fleet, {"Yew", test::kVin}).nominal_ah == 90.0);
  CHECK_FALSE(facts_of(d.depot.fleet, {"Cedar", test::kVin}).nominal_ah.has_value());
}

TEST_CASE("rebuild: software that turns the sign round is another segment, and both have energy") {
  DepotOnDisk disk;
  CardMaker card{0x2A, 1024};
  card.settings("willow", kStartMs - 1000);
  const int turns[] = {1, -1};
  const char* const calibrations[] = {"CAL1", "CAL2"};
  for (std::uint32_t k = 0; k < 2; ++k) {
    card.boot(100 + k);
    SessionText text;
    text.vin = test::kVin;
    text.clock = ClockSample{kClockSystem, kStartMs + k * 7'200'000ull, 1000, 1};
    text.calibration_id = calibrations[k];
    card.session(1000, text);
    drive(card, 2000, turns[k]);
  }
  disk.import(card.bytes());
  disk.rebuild_now();
  Ledger ledger = Ledger::open(disk.depot.ledger()).value();
  const auto vans = ledger.vans().value();
  REQUIRE(vans.size() == 1);
  const auto verdicts = ledger.verdicts(vans[0].id).value();
  std::vector<std::string> signs;
  for (const Verdict& verdict : verdicts) {
    if (verdict.question != VerdictQuestion::sign) continue;
    CAPTURE(verdict.evidence);
    CHECK(verdict.answer == VerdictAnswer::agreed);
    signs.push_back(verdict.calibration_id + " " + std::to_string(verdict.segment) + " " +
                    verdict.word);
  }
  CHECK(signs ==
        std::vector<std::string>{"CAL1 1 discharge_positive", "CAL2 2 discharge_negative"});
  const auto trips = ledger.trips(vans[0].id, {}).value();
  REQUIRE(trips.size() == 2);
  // The same drive twice.
  CHECK(trips[0].net_kwh.figure->value == trips[1].net_kwh.figure->value);
}
