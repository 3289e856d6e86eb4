// The page of the first hour for five kinds of van.
#include "cli/owner_questions.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "cli/card_question.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using namespace packmile::cli;
using test::CardMaker;
using test::key_of;

namespace {

constexpr std::uint32_t kEcu = 0x7EC;  // answers of 7E4
constexpr SignalId kFirst = kFirstOwnersSignal;

struct Page {
  std::vector<OwnersQuestion> questions;
  std::string text;   // of the questions, spaces and line feeds made one space
  std::string whole;  // of check
  Row row;

  [[nodiscard]] const OwnersQuestion& of(const char* name) const {
    return *std::ranges::find(questions, name, &OwnersQuestion::question);
  }
  [[nodiscard]] std::string answers() const {
    std::string out;
    for (const OwnersQuestion& q : questions) out += q.answered + " ";
    return out;
  }
  [[nodiscard]] bool says(const std::string& words) const {
    return text.find(words) != std::string::npos;
  }
};

Page page_of(CardMaker& maker) {
  maker.close();
  const test::TempFolder folder;
  const auto card = CardFile::open(folder.write("card.log", maker.bytes())).value();
  const CardSurvey survey = survey_card(card);
  const VanHeard heard = hear_van(card, survey).value();
  Page page{questions_of(survey, heard), {}, check_text(survey, heard), row_of(survey, heard)};
  const std::string lines = questions_text(survey, heard);
  for (std::size_t at = 0; at < lines.size();) {
    const std::size_t end = lines.find('\n', at);
    CHECK(end - at <= 98);
    at = end + 1;
  }
  for (const char c : lines) {
    const char plain = c == '\n' ? ' ' : c;
    if (plain != ' ' || page.text.empty() || page.text.back() != ' ') page.text += plain;
  }
  return page;
}

test::SessionText session_of(std::uint32_t ecu, bool by_did) {
  test::SessionText text;
  text.vin = test::kVin;
  text.ecu = ecu;
  text.clock = ClockSample{kClockSystem, 1'772'000'000'000, 0, 1};
  text.polled_pids = {0x9A, 0x0D, 0x5B, 0xA6};
  text.by_did = by_did;
  return text;
}

// Ten minutes of going and stopping; the current follows the speed and its
// change, the voltage sags by 0.1 ohm.
struct Moment {
  Tick tick;
  int kmh;
  double pack_a, pack_v, soc_pct, km;
};
template <typename Tell>
void drive(Tell tell) {
  double km = 12'000;
  for (int k = 0; k < 3'000; ++k) {
    const double t = k * 0.2;
    const double v = 30 - 30 * std::cos(t / 10);
    const double a = 5 + 0.6 * v + 3 * v * std::sin(t / 10);
    km += v * 0.2 / 3600;
    tell(Moment{1'000 + static_cast<Tick>(k) * 200, static_cast<int>(std::lround(v)), a,
                370 - 0.1 * a, 80 - t * 0.01, km},
         k);
  }
}

void standard_drive(CardMaker& maker, std::uint32_t ecu) {
  drive([&](const Moment& m, int k) {
    maker.response(m.tick, test::pack_key(200, ecu),
                   {6, 0, static_cast<std::uint32_t>(m.pack_v * 64),
                    static_cast<std::uint16_t>(std::lround(m.pack_a * 10)),
                    static_cast<std::uint32_t>(m.kmh)});
    if (k % 25 != 0) return;
    maker.response(m.tick, test::soc_key(5'000, ecu),
                   {static_cast<std::uint32_t>(m.soc_pct * 2.55), 14'000});
    maker.response(m.tick, key_of(signal::odometer_km, 5'000, ecu),
                   {static_cast<std::uint32_t>(m.km * 10)});
  });
}

OwnersDefinition defined(SignalRole role, double scale, double offset, unsigned bytes,
                         std::uint16_t did) {
  OwnersDefinition d;
  d.role = role;
  d.name = std::string{name_of(role)};
  d.request_id = 0x7E4;
  d.did = did;
  d.bytes = static_cast<std::uint8_t>(bytes);
  d.bits = static_cast<std::uint8_t>(8 * bytes);
  d.scale = scale;
  d.offset = offset;
  d.unit = std::string{unit_of(role)};
  return d;
}

}  // namespace

TEST_CASE("first hour: a slow signal that never failed covers all of the driving") {
  CardMaker maker{0x2A, 1024};
  maker.boot(1);
  maker.session(0, session_of(0x7E8, false));
  const auto tell = [&](Tick tick, int kmh, double km, bool odometer) {
    maker.response(tick, test::pack_key(200, 0x7E8),
                   {6, 0, 370 * 64, 100, static_cast<std::uint32_t>(kmh)});
    if (odometer)
      maker.response(tick, key_of(signal::odometer_km, 60'000, 0x7E8),
                     {static_cast<std::uint32_t>(km * 10)});
  };
  // Its answers fall before the van moves off, between, and after it has stopped.
  for (int k = 0; k < 3'600; ++k) {
    const bool moves = k >= 150 && k < 3'450;
    tell(1'000 + static_cast<Tick>(k) * 200, moves ? 36 : 0,
         12'000 + 0.002 * std::clamp(k - 150, 0, 3'300), k % 300 == 0 || k == 3'599);
  }
  const Page page = page_of(maker);
  CHECK(page.of("distance").period_ms == 60'000);
  CHECK(*page.of("distance").share > 0.99);
}

TEST_CASE("first hour: a van of service 01 answers every question") {
  CardMaker maker{0x2A, 1024};
  maker.boot(1);
  maker.session(0, session_of(0x7E8, false));
  standard_drive(maker, 0x7E8);
  const Page page = page_of(maker);
  CHECK(page.answers() == "yes yes yes yes yes yes ");
  CHECK(page.of("energy_per_mile").family == "service 01");
  CHECK(page.of("energy_per_mile").period_ms == 200);
  CHECK(*page.of("energy_per_mile").share > 0.98);
  CHECK(page.of("energy_per_mile").signals ==
        std::vector<std::string>{"pack_v", "pack_a", "soc_pct", "odometer_km", "speed_kmh"});
  CHECK(page.of("distance").period_ms == 5'000);
  CHECK(
      page.says("what this van answers pack V and A service 01, every 200 ms (100 % of the driving)"
                " charge service 01, every 5 s"));
  CHECK(
      page.says("energy per mile yes, by pack voltage and current, state of charge, odometer, "
                "speed"));
  CHECK(page.says("the outside temperature: seasons cannot be compared"));
  const Rows rows{check_columns(), {page.row}};
  CHECK(std::get<std::vector<OwnersQuestion>>(page.row[rows.column_of("questions")].value).size() ==
        6);
  // The page says of each verdict what it says in its row.
  const auto& verdicts = std::get<std::vector<Verdict>>(page.row[rows.column_of("verdicts")].value);
  CHECK(verdicts.size() == kVerdictQuestions);
  CHECK(page.whole.find("  sign            agreed, discharge_positive") != std::string::npos);
  CHECK(page.whole.find("  speed_rounding  too_little") != std::string::npos);
}

TEST_CASE("first hour: a van that answers the same as data identifiers") {
  CardMaker maker{0x2A, 1024};
  maker.boot(1);
  maker.session(0, session_of(0x7E8, true));
  standard_drive(maker, 0x7E8);
  const Page page = page_of(maker);
  CHECK(page.answers() == "yes yes yes yes yes yes ");
  CHECK(page.of("throughput").family == "F4xx");
  CHECK(page.says("pack V and A F4xx, every 200 ms"));
}

TEST_CASE("first hour: a van with owner's signals, in two answers") {
  CardMaker maker{0x2A, 2048};
  maker.settings("Elm", 1'771'000'000'000);
  maker.boot(1);
  test::SessionText text = session_of(kEcu, false);
  text.polled_pids.clear();
  text.owners_signals = {defined(SignalRole::pack_v, 0.125, 0, 2, 0xD010),
                         defined(SignalRole::pack_a, -0.05, 1200, 2, 0xD011),
                         defined(SignalRole::soc, 0.5, 0, 1, 0xD012),
                         defined(SignalRole::odometer, 1, 0, 3, 0xD013),
                         defined(SignalRole::speed, 0.01, 0, 2, 0xD014)};
  maker.session(0, text);
  drive([&](const Moment& m, int k) {
    maker.response(m.tick, key_of(kFirst, 200, kEcu),
                   {static_cast<std::uint32_t>(std::lround(m.pack_v * 8))});
    maker.response(m.tick + 20, key_of(kFirst + 1, 200, kEcu),
                   {static_cast<std::uint32_t>(std::lround((1200 - m.pack_a) * 20))});
    maker.response(m.tick + 40, key_of(kFirst + 4, 200, kEcu),
                   {static_cast<std::uint32_t>(m.kmh * 100)});
    if (k % 25 != 0) return;
    maker.response(m.tick + 60, key_of(kFirst + 2, 5'000, kEcu),
                   {static_cast<std::uint32_t>(m.soc_pct * 2)});
    maker.response(m.tick + 80, key_of(kFirst + 3, 5'000, kEcu),
                   {static_cast<std::uint32_t>(m.km)});
  });
  const Page page = page_of(maker);
  CHECK(page.answers() == "yes yes yes yes yes yes ");
  CHECK(page.of("energy_per_mile").family == "owner's signals");
  CHECK(page.says("pack V and A owner's signals, every 200 ms"));
  CHECK(page.whole.find("ECU 7EC     answers pack_v, pack_a, soc, odometer, speed") !=
        std::string::npos);
  CHECK(page.whole.find("findings") == std::string::npos);
}

TEST_CASE("first hour: a van with a state of charge and a speed, and a wrong definition") {
  CardMaker maker{0x2A, 1024};
  maker.settings("Elm", 1'771'000'000'000);
  maker.boot(1);
  test::SessionText text = session_of(0x7E8, false);
  text.owners_signals = {defined(SignalRole::odometer, 1, 0, 3, 0xD013)};
  maker.session(0, text);
  drive([&](const Moment& m, int k) {
    if (k % 5 != 0) return;
    maker.response(m.tick, key_of(signal::speed_kmh, 1'000), {static_cast<std::uint32_t>(m.kmh)});
    maker.response(m.tick, test::soc_key(1'000), {200, 14'000});
    maker.response(m.tick, key_of(kFirst, 1'000, kEcu), {k < 1'500 ? 900u : 100u});
  });
  const Page page = page_of(maker);
  CHECK(page.answers() == "partly partly partly no partly partly ");
  CHECK(page.says("write nominal_kwh into fleet.toml; list owner's signals in fleet.toml"));
  CHECK(page.says("adding up the speed is good to about 3 % (1 sd)"));
  CHECK(page.of("distance").signals == std::vector<std::string>{"speed_kmh"});
  CHECK(page.whole.find("definition_odometer_fell: 'odometer' (request id 7E4, DID D013, bytes "
                        "0..2) fell from 900 to 100 km") != std::string::npos);
  const Rows rows{check_columns(), {}};
  CHECK(std::get<std::vector<std::string>>(page.row[rows.column_of("findings")].value) ==
        std::vector<std::string>{"definition_odometer_fell"});
  CHECK(std::get<std::vector<std::string>>(page.row[rows.column_of("definition_notes")].value)
            .size() == 1);
}

TEST_CASE("first hour: a van that answers nothing") {
  CardMaker maker{0x2A};
  maker.settings("Elm", 1'772'000'000'000, {defined(SignalRole::soc, 0.5, 0, 1, 0xD012)});
  maker.boot(1);
  test::SessionText silent;
  maker.session(1'000, silent);
  const Page page = page_of(maker);
  CHECK(page.answers() == "no no no no no no ");
  for (const OwnersQuestion& q : page.questions) {
    CHECK(q.family.empty());
    CHECK(q.signals.empty());
    CHECK_FALSE(q.missing.empty());
    CHECK_FALSE(q.how.empty());
  }
  CHECK(
      page.says("This van answered nothing. Tried, in this order: service 01 and 09 to all ECUs; "
                "the same items as identifiers F4xx by service 22; the owner's signals listed on "
                "this card (7E4 D012)."));
  CHECK(page.says("No frame of the van's own was seen either"));
  CHECK(page.says("The logger only listens now"));
  CHECK(page.says("keep receipts and meter readings as notes"));
  CHECK(page.says("keep odometer readings as notes"));
  CHECK(page.says("dates by distance, age and gauge come from notes alone"));
}

TEST_CASE("first hour: a current that is not proven yet says how to prove it") {
  CardMaker maker{0x2A};
  maker.boot(1);
  maker.session(0, session_of(0x7E8, false));
  for (Tick tick = 1'000; tick < 20'000; tick += 200)
    maker.response(tick, test::pack_key(200), {6, 0, 370 * 64, 100, 0});
  const Page page = page_of(maker);
  CHECK(page.answers() == "no no no no partly partly ");
  CHECK(page.says("not yet: which sign of the pack current is discharge is not proven"));
  CHECK(page.says("every 200 ms (100 % of the time awake)"));
  CHECK(page.of("upkeep").missing.find("a proven pack current") != std::string::npos);
  // Three questions hang on the same; it is said once.
  CHECK(page.says("charging cost no, by pack voltage and current missing: the same throughput"));
}
