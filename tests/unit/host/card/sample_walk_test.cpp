#include "card/sample_walk.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::CardMaker;
using test::TempFolder;

namespace {

constexpr std::uint64_t kWalkStart = 1'767'600'000'000;

CardMaker small_card() {
  CardMaker card(9);
  card.settings("Alder", 0);
  card.boot(0xB0);
  test::SessionText text;
  text.clock = ClockSample{kClockRtc, kWalkStart, 0, 1'000};
  card.session(1, text);
  card.response(1'000, test::pack_key(200), {6, 0, 0x5780, 0x00FA, 50});
  card.response(1'013, test::soc_key(5'000), {200, 14'000});
  card.response(1'200, test::pack_key(200), {6, 0, 0x577E, 0x0104, 51});
  card.boot(0xB1);
  card.response(70, test::soc_key(5'000), {199, 13'000});
  card.close();
  return card;
}

std::string text_of(const SampleRow& row) {
  std::string text = std::to_string(row.tick_ms) + " " + std::to_string(row.ecu) + " " +
                     std::string(row.name) + " " + std::to_string(row.raw);
  if (row.value) text += " " + std::to_string(*row.value) + " " + std::string(row.unit);
  if (!row.time) text += " no clock";
  return text;
}

}  // namespace

// Source: the words and values are the worked examples of PIDs 9A, 0D, 5B, 42
// in public decoders: 0x5780 = 350 V, 200 = 78.43 %, 14000 = 14 V.
TEST_CASE("samples: rows in order of time, with values where they are certain") {
  const TempFolder folder;
  const auto card = CardFile::open(folder.write("card.log", small_card().bytes()));
  REQUIRE(card);
  const CardSurvey survey = survey_card(*card);
  std::vector<std::string> rows;
  REQUIRE(for_each_sample(*card, survey, {}, [&](const SampleRow& row) {
    rows.push_back(text_of(row));
    if (row.tick_ms == 1'013)
      CHECK(row.time == UtcTime{std::chrono::milliseconds(kWalkStart + 1'013)});
    return true;
  }));
  REQUIRE(rows.size() == 14);
  CHECK(rows[2] == "1000 2024 pack_v 22400 350.000000 V");
  CHECK(rows[3] == "1000 2024 pack_a 250");
  CHECK(rows[4] == "1000 2024 speed_kmh 50 50.000000 km/h");
  CHECK(rows[5] == "1013 2024 soc_pct 200 78.431373 %");
  CHECK(rows[6] == "1013 2024 module_v 14000 14.000000 V");
  CHECK(rows[11] == "1200 2024 speed_kmh 51 51.000000 km/h");
  CHECK(rows[13] == "70 2024 module_v 13000 13.000000 V no clock");

  const SignalId only[] = {signal::soc_pct};
  rows.clear();
  REQUIRE(for_each_sample(*card, survey, only, [&](const SampleRow& row) {
    rows.push_back(text_of(row));
    return false;
  }));
  CHECK(rows.size() == 1);
}

TEST_CASE("sectors: one record by its address in the log, also inside an image") {
  const TempFolder folder;
  CardMaker card = small_card();
  std::vector<std::uint8_t> image(2'000 * 512, 0);
  std::copy(card.bytes().begin(), card.bytes().end(), image.begin() + 1'000 * 512);
  for (const auto& path :
       {folder.write("card.log", card.bytes()), folder.write("image.img", image)}) {
    CAPTURE(path);
    const auto file = CardFile::open(path);
    REQUIRE(file);
    const auto settings = read_log_sector(*file, 0);
    REQUIRE(settings);
    CHECK(settings->header.kind == SectorKind::settings);
    const auto session = read_log_sector(*file, 32);
    REQUIRE(session);
    CHECK(session->header.kind == SectorKind::session);
    CHECK(session->payload.size() == session->header.payload_bytes);
    const auto data = read_log_sector(*file, 33);
    REQUIRE(data);
    CHECK(data->header.boot_id == 0xB0);
    CHECK_FALSE(read_log_sector(*file, 1));
    CHECK_FALSE(read_log_sector(*file, 5'000));
    CHECK_FALSE(read_log_sector(*file, ~std::uint64_t{0}));
  }
}

TEST_CASE("samples: an owner's signal by its definition, and only of its ECU") {
  OwnersDefinition current;
  current.role = SignalRole::pack_a;
  current.name = "main_current";
  current.request_id = 0x7E4;
  current.did = 0xD010;
  current.bytes = 2;
  current.bits = 12;
  current.is_signed = true;
  current.scale = -0.25;
  current.offset = 1;
  current.unit = "A";
  CardMaker maker(9);
  maker.boot(1);
  test::SessionText text;
  text.owners_signals = {current};
  maker.session(1, text);
  maker.response(1'000, test::key_of(kFirstOwnersSignal, 200, 0x7EC), {0xFF0});  // -16
  maker.response(1'001, test::key_of(kFirstOwnersSignal, 200, 0x7ED), {0xFF0});
  maker.response(1'002, test::key_of(kFirstOwnersSignal + 1, 200, 0x7EC), {5});
  maker.close();
  const TempFolder folder;
  const auto card = CardFile::open(folder.write("card.log", maker.bytes()));
  REQUIRE(card);
  const CardSurvey survey = survey_card(*card);
  std::vector<std::string> rows;
  REQUIRE(for_each_sample(*card, survey, {}, [&](const SampleRow& row) {
    rows.push_back(text_of(row));
    return true;
  }));
  CHECK(rows == std::vector<std::string>{"1000 2028 main_current 4080 5.000000 A no clock",
                                         "1001 2029  4080 no clock", "1002 2028  5 no clock"});
}
