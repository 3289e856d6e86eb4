// Owner's signals from the card into episodes: codes, places, pairs of two
// answers, and what is held against a definition.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <functional>
#include <string>
#include <vector>

#include "card/card_survey.hpp"
#include "timeline/owners_roles.hpp"
#include "timeline/van_history.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::CardMaker;
using test::key_of;
using test::SessionText;
using test::TempFolder;

namespace {

constexpr std::uint64_t kSignalsMonday = 1'767'600'000'000;
constexpr std::uint32_t kEcu = 0x7EC;  // answers of 7E4
constexpr SignalId kFirst = kFirstOwnersSignal;

OwnersDefinition defined(SignalRole role, double scale, double offset = 0, unsigned bytes = 2,
                         bool is_signed = false) {
  OwnersDefinition d;
  d.role = role;
  d.name = std::string{name_of(role)};
  d.request_id = 0x7E4;
  d.did = 0xD010;
  d.bytes = static_cast<std::uint8_t>(bytes);
  d.bits = static_cast<std::uint8_t>(8 * bytes);
  d.is_signed = is_signed;
  d.scale = scale;
  d.offset = offset;
  d.unit = std::string{unit_of(role)};
  return d;
}

// What came of a card: its only van.
struct Told {
  std::vector<Episode> episodes;
  std::vector<OwnersJudgement> judged;
  std::vector<Finding> findings;
  std::vector<Boot> boots;

  [[nodiscard]] bool has(Finding finding) const {
    return std::find(findings.begin(), findings.end(), finding) != findings.end();
  }
  // The only complaint of all.
  [[nodiscard]] std::string complaint(Finding finding) const {
    std::string text;
    std::size_t n = 0;
    for (const OwnersJudgement& j : judged)
      for (const OwnersComplaint& c : j.complaints) {
        ++n;
        if (c.finding == finding) text = c.text;
      }
    CHECK(n == 1);
    CHECK(has(finding));
    return text;
  }
};

Told told_by(CardMaker& maker) {
  maker.close();
  const TempFolder folder;
  const auto card = CardFile::open(folder.write("card.log", maker.bytes())).value();
  const CardSurvey survey = survey_card(card);
  const CardSectors sectors{card, survey};
  const auto vans = VanHistory::open(sectors).value();
  REQUIRE(vans.size() == 1);
  Told told;
  REQUIRE(vans[0].for_each_episode([&](const Episode& e) {
    told.episodes.push_back(e);
    return true;
  }));
  told.judged = vans[0].owners_signals();
  told.findings = vans[0].findings();
  told.boots = vans[0].boots();
  return told;
}

void begin(CardMaker& maker, const std::vector<OwnersDefinition>& definitions,
           std::uint32_t boot_id = 1, std::uint64_t unix_ms = kSignalsMonday) {
  maker.boot(boot_id);
  SessionText text;
  text.vin = test::kVin;
  text.ecu = kEcu;
  text.calibration_id = "CAL-7";
  text.clock = ClockSample{kClockRtc, unix_ms, 0, 1};
  text.owners_signals = definitions;
  maker.session(0, text);
}

// Seconds of driving at 50 km/h by the standard speed, once a second, with what
// `more` answers in that second.
void drive(CardMaker& maker, int seconds, const std::function<void(Tick, int)>& more) {
  for (int s = 0; s < seconds; ++s) {
    const Tick tick = 1'000 + static_cast<Tick>(s) * 1'000;
    maker.response(tick, key_of(signal::speed_kmh, 1'000), {50});
    more(tick + 10, s);
  }
}

std::int64_t at(Tick tick) { return static_cast<std::int64_t>(kSignalsMonday + tick); }

}  // namespace

TEST_CASE("episode: the steps of its codes are those of the catalogue") {
  CHECK(kPackVStep == find_signal(signal::pack_v)->scale);
  CHECK(kPackAStep == find_signal(signal::pack_a)->scale);
  CHECK(kSocStepPct == doctest::Approx(find_signal(signal::soc_pct)->scale).epsilon(1e-12));
}

TEST_CASE("owner's codes: each role in the codes of the standard signal") {
  // 3511 * 0.1 V = 351.1 V = 22,470.4 codes of 1/64 V.
  CHECK(code_of(defined(SignalRole::pack_v, 0.1), 3511) == 22470);
  CHECK(code_of(defined(SignalRole::pack_v, 1), 1023) == 65472);
  CHECK_FALSE(code_of(defined(SignalRole::pack_v, 1), 1024).has_value());
  // -320 * 0.05 A = -16.0 A = -160 tenths; 0x7D00 * -0.05 + 1200 = -400 A.
  CHECK(code_of(defined(SignalRole::pack_a, 0.05, 0, 2, true), 0x10000u - 320) == 0x10000u - 160);
  CHECK(code_of(defined(SignalRole::pack_a, -0.05, 1200), 0x7D00) == 0x10000u - 4000);
  // 0.05, 0.15, 0.25 and -0.05 A: halves of a code go to the even one.
  for (const auto& [steps, tenths] : {std::pair{1, 0}, {3, 2}, {5, 2}, {7, 4}, {-1, 0}, {-3, -2}})
    for (const double sign : {1.0, -1.0})
      CHECK(code_of(defined(SignalRole::pack_a, sign * 0.05, 0, 2, true),
                    static_cast<std::uint16_t>(static_cast<int>(sign) * steps)) ==
            static_cast<std::uint16_t>(tenths));
  // 5,000 A and -5,000 A are cut off at +-3,276.7 A.
  CHECK(code_of(defined(SignalRole::pack_a, 1, 0, 2, true), 5000) == 0x7FFF);
  CHECK(code_of(defined(SignalRole::pack_a, 1, 0, 2, true), 0x10000u - 5000) == 0x8001);
  CHECK(code_of(defined(SignalRole::soc, 0.1), 735) == 735);
  CHECK(code_of(defined(SignalRole::soc, 0.5, 0, 1), 150) == 150);
  CHECK(code_of(defined(SignalRole::soc, -0.5, 100, 1), 50) == 150);  // counts down from full
  CHECK(code_of(defined(SignalRole::soc, 0.1), 1003) == 1000);        // overshoots a little
  CHECK_FALSE(code_of(defined(SignalRole::soc, 0.1), 1010).has_value());
  // 1.609344 km a mile: 52,000 miles = 83,685.9 km.
  CHECK(code_of(defined(SignalRole::odometer, 1.609344, 0, 3), 52'000) == 836'859);
  CHECK_FALSE(code_of(defined(SignalRole::odometer, 1, -10), 5).has_value());
  CHECK(code_of(defined(SignalRole::speed, 1.0 / 256), 50 * 256 + 127) == 50);
  CHECK(code_of(defined(SignalRole::speed, 1.0 / 256), 50 * 256 + 129) == 51);
  CHECK(code_of(defined(SignalRole::speed, 1, 0, 1, true), 0x100 - 4) == 0);  // backing
  CHECK_FALSE(code_of(defined(SignalRole::speed, 1), 300).has_value());
  CHECK_FALSE(code_of(defined(SignalRole::pack_temp, 1, -40, 1), 60).has_value());
}

TEST_CASE("owner's codes: steps of the state of charge are the van's own, within reason") {
  CHECK(soc_step_pct_of(defined(SignalRole::soc, 0.1)) == 0.1);
  CHECK(soc_step_pct_of(defined(SignalRole::soc, -1)) == 1);
  CHECK(soc_step_pct_of(defined(SignalRole::soc, 1e-5)) == 0.01);
}

TEST_CASE("owner's signals: voltage and current of one answer, row by row") {
  CardMaker maker{7};
  begin(maker, {defined(SignalRole::pack_v, 0.1), defined(SignalRole::pack_a, 0.05, 0, 2, true)});
  BlockKey key = key_of(kFirst, 200, kEcu);
  key.signals = 2;
  key.signal[1] = kFirst + 1;
  maker.response(1'000, key, {3500, 200});
  maker.response(1'200, key, {3490, 0x10000u - 200});
  maker.response(1'400, key, {12'000, 40});  // 1,200 V: not a pair
  const Told told = told_by(maker);
  REQUIRE(told.episodes.size() == 1);
  const PackSeries& pack = told.episodes[0].pack;
  CHECK(pack.ecu == kEcu);
  CHECK(pack.calibration_id.starts_with("CAL-7, owner's signals "));
  CHECK(pack.time_ms == std::vector<std::int64_t>{at(1'000), at(1'200)});
  CHECK(pack.v_raw == std::vector<std::uint16_t>{22'400, 22'336});
  CHECK(pack.a_raw == std::vector<std::uint16_t>{100, static_cast<std::uint16_t>(-100)});
  CHECK(pack.period_ms == std::vector<std::uint32_t>{200, 200});
  CHECK(pack.v_step_v == 0.1);
  CHECK(pack.a_step_a == 0.1);  // 0.05 is finer than a code
  CHECK(told.findings.empty());
}

// By hand: 350 V at 1,000 ms and 352 V at 1,200 ms are 350.5 V at 1,050 ms and
// 351 V at 1,100 ms, times 64 = 22,432 and 22,464.
TEST_CASE("owner's signals: voltage and current of two answers, on straight lines") {
  CardMaker maker{7};
  OwnersDefinition current = defined(SignalRole::pack_a, 0.1, 0, 2, true);
  current.did = 0xD011;
  begin(maker, {defined(SignalRole::pack_v, 0.1), current});
  const BlockKey v = key_of(kFirst, 200, kEcu);
  const BlockKey a = key_of(kFirst + 1, 100, kEcu);
  maker.response(950, a, {7});  // no voltage before it
  maker.response(1'000, v, {3500});
  maker.response(1'050, a, {10});
  maker.response(1'100, a, {20});
  maker.response(1'200, a, {30});
  maker.response(1'200, v, {3520});
  maker.response(1'700, a, {40});  // 500 ms from both: two and a half periods
  maker.response(2'200, v, {3500});
  maker.response(2'701, a, {50});  // a millisecond too far from the one before
  maker.response(3'100, v, {3500});
  maker.response(3'150, a, {60});  // no voltage behind it
  const Told told = told_by(maker);
  REQUIRE(told.episodes.size() == 1);
  const PackSeries& pack = told.episodes[0].pack;
  CHECK(pack.time_ms == std::vector<std::int64_t>{at(1'050), at(1'100), at(1'200), at(1'700)});
  CHECK(pack.a_raw == std::vector<std::uint16_t>{10, 20, 30, 40});
  CHECK(pack.v_raw == std::vector<std::uint16_t>{22'432, 22'464, 22'528, 22'464});
  CHECK(pack.period_ms == std::vector<std::uint32_t>{100, 100, 100, 100});
}

TEST_CASE("owner's signals: a current of the owner's with the standard's voltage") {
  CardMaker maker{7};
  begin(maker, {defined(SignalRole::pack_a, 1, 0, 2, true)});
  maker.response(1'000, test::pack_key(200), {6, 0, 350 * 64, 999, 30});
  maker.response(1'100, key_of(kFirst, 200, kEcu), {25});
  maker.response(1'200, test::pack_key(200), {6, 0, 351 * 64, 999, 30});
  maker.response(1'300, key_of(kFirst, 200, kEcu), {26});
  maker.response(1'400, test::pack_key(200), {4, 0, 900 * 64, 999, 30});  // not supported
  maker.response(1'600, test::pack_key(200), {6, 0, 351 * 64, 999, 30});
  const Told told = told_by(maker);
  REQUIRE(told.episodes.size() == 1);
  const Episode& e = told.episodes[0];
  CHECK(e.pack.ecu == kEcu);
  CHECK(e.pack.a_step_a == 1);
  CHECK(e.pack.v_step_v == kPackVStep);
  CHECK(e.pack.v_raw == std::vector<std::uint16_t>{22'432, 22'464});
  CHECK(e.pack.a_raw == std::vector<std::uint16_t>{250, 260});
  CHECK(e.speed.raw.size() == 4);
}

TEST_CASE("owner's signals: each role takes the place of the standard signal") {
  CardMaker maker{7};
  begin(maker, {defined(SignalRole::soc, 0.1), defined(SignalRole::odometer, 1, 0, 3),
                defined(SignalRole::speed, 0.01), defined(SignalRole::none, 1, 0, 1)});
  maker.response(1'000, test::soc_key(5'000), {200, 14'000});
  maker.response(1'000, key_of(signal::odometer_km, 5'000), {111});
  maker.response(1'000, key_of(signal::speed_kmh, 200), {77});
  maker.response(1'010, key_of(kFirst, 5'000, kEcu), {735});
  maker.response(1'020, key_of(kFirst + 1, 5'000, kEcu), {84'000});
  maker.response(1'030, key_of(kFirst + 2, 200, kEcu), {4'970});
  maker.response(1'040, key_of(kFirst + 3, 200, kEcu), {9});
  maker.response(1'050, key_of(kFirst, 5'000, 0x7E9), {111});  // another ECU's
  const Told told = told_by(maker);
  REQUIRE(told.episodes.size() == 1);
  const Episode& e = told.episodes[0];
  CHECK(e.soc.raw == std::vector<std::uint32_t>{735});
  CHECK(e.soc_step_pct == 0.1);
  CHECK(e.soc.time_ms == std::vector<std::int64_t>{at(1'010)});
  CHECK(e.odometer.raw == std::vector<std::uint32_t>{840'000});
  CHECK(e.speed.raw == std::vector<std::uint32_t>{50});
  CHECK(e.module_v.raw == std::vector<std::uint32_t>{14'000});
}

TEST_CASE("owner's signals: what the van says of its capacity is kept where it changes") {
  for (const char* unit : {"Ah", "kWh"}) {
    CardMaker maker{7};
    OwnersDefinition capacity = defined(SignalRole::reported_capacity, 0.1);
    capacity.unit = unit;
    begin(maker, {capacity});
    maker.response(1'000, key_of(kFirst, 5'000, kEcu), {1'480});
    maker.response(6'000, key_of(kFirst, 5'000, kEcu), {1'480});
    maker.response(11'000, key_of(kFirst, 5'000, kEcu), {1'475});
    maker.response(16'000, key_of(kFirst, 5'000, 0x7E9), {1'000});  // another ECU's
    const Told told = told_by(maker);
    REQUIRE(told.episodes.size() == 1);
    const ReportedSeries& said = told.episodes[0].reported;
    CHECK(said.value == std::vector<double>{1'480 * 0.1, 1'475 * 0.1});
    CHECK(said.time_ms == std::vector<std::int64_t>{at(1'000), at(11'000)});
    CHECK(said.in_kwh == (std::string_view{unit} == "kWh"));
  }
}

TEST_CASE("owner's signals: defined by the settings where no session record is left") {
  CardMaker maker{7};
  maker.settings("Elm", kSignalsMonday, {defined(SignalRole::soc, 0.5, 0, 1)});
  maker.boot(1);
  maker.response(1'000, key_of(kFirst, 5'000, kEcu), {150});
  const Told told = told_by(maker);
  REQUIRE(told.episodes.size() == 1);
  CHECK(told.episodes[0].soc.raw == std::vector<std::uint32_t>{150});
  CHECK(told.episodes[0].soc_step_pct == 0.5);
}

TEST_CASE("owner's signals: a definition that was changed is another pack current") {
  CardMaker maker{7};
  const auto two = [](double scale) {
    return std::vector{defined(SignalRole::pack_v, 0.1),
                       defined(SignalRole::pack_a, scale, 0, 2, true)};
  };
  BlockKey key = key_of(kFirst, 200, kEcu);
  key.signals = 2;
  key.signal[1] = kFirst + 1;
  begin(maker, two(0.1), 1, kSignalsMonday);
  maker.response(1'000, key, {3500, 200});
  begin(maker, two(0.1), 2, kSignalsMonday + 60'000);
  maker.response(1'000, key, {3500, 200});
  std::vector<OwnersDefinition> renamed = two(0.1);
  renamed[0].name = "main_battery_v";
  begin(maker, renamed, 3, kSignalsMonday + 120'000);
  maker.response(1'000, key, {3500, 200});
  begin(maker, two(0.2), 4, kSignalsMonday + 180'000);
  maker.response(1'000, key, {3500, 200});
  const Told told = told_by(maker);
  // A new name alone changes nothing.
  REQUIRE(told.episodes.size() == 2);
  CHECK(told.episodes[0].pack.a_raw == std::vector<std::uint16_t>{200, 200, 200});
  CHECK(told.episodes[0].cut);
  CHECK(told.episodes[1].pack.a_raw == std::vector<std::uint16_t>{400});
  CHECK(told.episodes[0].pack.calibration_id != told.episodes[1].pack.calibration_id);
  CHECK(told.judged.size() == 3);
}

TEST_CASE("owner's signals: a current that never changes while the van drives") {
  CardMaker maker{7, 1024};
  OwnersDefinition current = defined(SignalRole::pack_a, 0.1, 0, 2, true);
  current.first_byte = 4;
  begin(maker, {defined(SignalRole::pack_v, 0.1), current});
  BlockKey key = key_of(kFirst, 200, kEcu);
  key.signals = 2;
  key.signal[1] = kFirst + 1;
  SUBCASE("condemned, and its words are no pack current") {
    drive(maker, 420, [&](Tick tick, int s) {
      maker.response(tick, key, {3500u + static_cast<std::uint32_t>(s % 9), 125});
    });
    const Told told = told_by(maker);
    CHECK(told.complaint(Finding::definition_current_constant) ==
          "'pack_a' (request id 7E4, DID D010, bytes 4..5) stayed at 12.5 A through 6 min of "
          "driving: in its [[signal]] of fleet.toml check did, first_byte, bytes, first_bit and "
          "bits");
    REQUIRE(told.episodes.size() == 1);
    CHECK(told.episodes[0].pack.time_ms.empty());
    CHECK(told.episodes[0].speed.raw.size() == 420);
  }
  SUBCASE("not after four minutes") {
    drive(maker, 240, [&](Tick tick, int) { maker.response(tick, key, {3500, 125}); });
    CHECK(told_by(maker).findings.empty());
  }
  SUBCASE("not where it moves") {
    drive(maker, 420, [&](Tick tick, int s) {
      maker.response(tick, key, {3500, s == 300 ? 130u : 125u});
    });
    CHECK(told_by(maker).findings.empty());
  }
}

TEST_CASE(
    "owner's signals: a current of nothing while the state of charge rises, not a steady one") {
  for (const std::uint32_t word : {0u, 160u}) {
    CardMaker maker{7, 1024};
    begin(maker, {defined(SignalRole::pack_v, 0.1), defined(SignalRole::pack_a, 0.1, 0, 2, true),
                  defined(SignalRole::soc, 0.1)});
    BlockKey key = key_of(kFirst, 10'000, kEcu);
    key.signals = 2;
    key.signal[1] = kFirst + 1;
    for (std::uint32_t s = 0; s < 3'600; s += 10) {
      maker.response(1'000 + s * 1'000, key, {3600, word});
      maker.response(1'100 + s * 1'000, key_of(kFirst + 2, 10'000, kEcu), {400 + s / 60});
    }
    const Told told = told_by(maker);
    if (word == 0)
      CHECK(told.complaint(Finding::definition_current_constant)
                .find("stayed at 0 A while the state of charge moved by 6 %") != std::string::npos);
    else
      CHECK(told.findings.empty());
    CHECK(told.episodes.at(0).pack.time_ms.empty() == (word == 0));
  }
}

TEST_CASE("owner's signals: a state of charge over 100 %") {
  CardMaker maker{7, 1024};
  begin(maker, {defined(SignalRole::soc, 0.5, 0, 1)});
  drive(maker, 100, [&](Tick tick, int s) {
    maker.response(tick, key_of(kFirst, 1'000, kEcu), {180u + static_cast<std::uint32_t>(s)});
  });
  const Told told = told_by(maker);
  CHECK(told.complaint(Finding::definition_soc_impossible) ==
        "'soc' (request id 7E4, DID D010, byte 0) gave 127.5 % (54 of 100 samples outside 0 to 100)"
        ": in its [[signal]] of fleet.toml check first_byte, bytes, first_bit, bits, byte_order, "
        "signed, scale and offset");
  CHECK(told.episodes.at(0).soc.raw.empty());
}

TEST_CASE("owner's signals: words that say there is no answer are left out and condemn nothing") {
  CardMaker maker{7, 1024};
  begin(maker, {defined(SignalRole::soc, 0.5, 0, 1)});
  drive(maker, 300, [&](Tick tick, int s) {
    maker.response(tick, key_of(kFirst, 1'000, kEcu), {s < 2 ? 255u : 150u});
  });
  const Told told = told_by(maker);
  CHECK(told.findings.empty());
  CHECK(told.episodes.at(0).soc.raw == std::vector<std::uint32_t>(298, 150));
}

TEST_CASE("owner's signals: temperature, voltage and speed that cannot be") {
  struct Case {
    SignalRole role;
    double scale, offset;
    std::uint32_t word;
    Finding finding;
    const char* seen;
  };
  for (const Case& c :
       {Case{SignalRole::pack_temp, 1, -80, 10, Finding::definition_temperature_impossible,
             "gave -70 degC"},
        Case{SignalRole::pack_temp, 1, 0, 151, Finding::definition_temperature_impossible,
             "gave 151 degC"},
        Case{SignalRole::pack_v, 1, 0, 3600, Finding::definition_voltage_impossible, "gave 3600 V"},
        Case{SignalRole::speed, 1, 0, 5000, Finding::definition_speed_impossible,
             "gave 5000 km/h"}}) {
    CardMaker maker{7, 1024};
    begin(maker, {defined(c.role, c.scale, c.offset)});
    drive(maker, 30,
          [&](Tick tick, int) { maker.response(tick, key_of(kFirst, 1'000, kEcu), {c.word}); });
    const Told told = told_by(maker);
    CHECK(told.complaint(c.finding).find(c.seen) != std::string::npos);
    CHECK(told.episodes.at(0).speed.raw == std::vector<std::uint32_t>(30, 50));  // the standard's
  }
}

TEST_CASE("owner's signals: an odometer that falls, and one that only starts with 0") {
  for (const bool falls : {true, false}) {
    CardMaker maker{7, 1024};
    begin(maker, {defined(SignalRole::odometer, 1, 0, 3)});
    drive(maker, 60, [&](Tick tick, int s) {
      const std::uint32_t km = 84'000 + static_cast<std::uint32_t>(s / 20);
      maker.response(tick, key_of(kFirst, 1'000, kEcu), {(falls ? s >= 30 : s == 30) ? 3 : km});
    });
    const Told told = told_by(maker);
    if (falls)
      CHECK(told.complaint(Finding::definition_odometer_fell).find("fell from 84001 to 3 km") !=
            std::string::npos);
    else
      CHECK(told.findings.empty());
    CHECK(told.episodes.at(0).odometer.raw.empty() == falls);
  }
}

TEST_CASE("owner's signals: a current beyond what the codes hold is cut off and told") {
  CardMaker maker{7, 1024};
  begin(maker, {defined(SignalRole::pack_v, 0.1), defined(SignalRole::pack_a, 0.1)});
  BlockKey key = key_of(kFirst, 200, kEcu);
  key.signals = 2;
  key.signal[1] = kFirst + 1;
  maker.response(1'000, key, {3500, 65'000});
  maker.response(1'200, key, {3500, 100});
  const Told told = told_by(maker);
  CHECK(told.complaint(Finding::definition_current_too_large)
            .find("gave 6500 A (1 of 2 samples beyond 3,276.7 A)") != std::string::npos);
  CHECK(told.episodes.at(0).pack.a_raw == std::vector<std::uint16_t>{0x7FFF, 100});
}

TEST_CASE("owner's signals: refused, and answered too short") {
  CardMaker maker{7, 1024};
  OwnersDefinition refused = defined(SignalRole::soc, 0.1);
  refused.did = 0xD0FF;
  OwnersDefinition beyond = defined(SignalRole::pack_temp, 1, -40, 1);
  beyond.first_byte = 9;
  begin(maker, {defined(SignalRole::pack_v, 0.1), beyond, refused});
  SUBCASE("told after two minutes") {
    drive(maker, 180, [&](Tick tick, int) {
      maker.response(tick, key_of(kFirst, 1'000, kEcu), {3500});
      maker.response(tick, test::soc_key(1'000), {200, 14'000});
    });
    const Told told = told_by(maker);
    CHECK(told.has(Finding::definition_too_short));
    CHECK(told.has(Finding::definition_refused));
    REQUIRE(told.judged.size() == 3);
    CHECK(told.judged[0].complaints.empty());
    REQUIRE(told.judged[1].complaints.size() == 1);
    CHECK(told.judged[1].complaints[0].text ==
          "'pack_temp' (request id 7E4, DID D010, byte 9) lies beyond the end of the van's answer: "
          "in its [[signal]] of fleet.toml check first_byte and bytes");
    REQUIRE(told.judged[2].complaints.size() == 1);
    CHECK(
        told.judged[2].complaints[0].text ==
        "'soc' (request id 7E4, DID D0FF, bytes 0..1) was never answered in 2 min awake: refused, "
        "silent, or an answer that ends before it: in its [[signal]] of fleet.toml check ecu, "
        "did, first_byte and bytes");
    // The standard state of charge stays in its place.
    CHECK(told.episodes.at(0).soc.raw.size() == 180);
    CHECK(told.episodes.at(0).soc_step_pct == kSocStepPct);
  }
  SUBCASE("not before") {
    drive(maker, 60,
          [&](Tick tick, int) { maker.response(tick, key_of(kFirst, 1'000, kEcu), {3500}); });
    CHECK(told_by(maker).findings.empty());
  }
}

TEST_CASE("owner's signals: session records that contradict each other leave the signal out") {
  CardMaker maker{7};
  begin(maker, {defined(SignalRole::soc, 0.5, 0, 1)});
  SessionText other;
  other.owners_signals = {defined(SignalRole::soc, 0.1, 0, 1)};
  maker.session(10, other);
  maker.response(1'000, key_of(kFirst, 5'000, kEcu), {150});
  const Told told = told_by(maker);
  CHECK(told.has(Finding::definition_broken));
  CHECK(told.episodes.at(0).soc.raw.empty());
}
