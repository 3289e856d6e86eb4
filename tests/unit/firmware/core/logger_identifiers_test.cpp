// class Logger on vans that do not answer service 01: by standard identifiers,
// by the owner's own, or not at all.
#include <doctest/doctest.h>

#include <set>

#include "fake_van.hpp"

using namespace packmile;
using namespace packmile::test;

namespace {

constexpr int kVoltage = 1;
constexpr int kCurrent = 2;
constexpr int kSoc = 3;
constexpr int kSpeed = 5;

// Nothing of service 01 and F4xx; three identifiers of its own.
std::vector<FakeEcu> owners_van() {
  FakeEcu pack;
  pack.response_id = 0x7EC;
  // Current, little-endian, charge-positive, 0.02 A a step; 0.1 V a step behind it.
  pack.dids[0x2000] = [](Tick t) {
    const auto amps = static_cast<std::uint16_t>(-500 - static_cast<int>(t / 1'000 % 50));
    return Bytes{static_cast<std::uint8_t>(amps), static_cast<std::uint8_t>(amps >> 8), 0x0E, 0x74};
  };
  pack.dids[0x2001] = constant({0x00, 0x8C});
  pack.dids[0x2002] = constant({0x13, 0x88});  // 50 km/h in steps of 0.01
  return {pack};
}

SettingsFields owners_settings() {
  const auto one = [](std::uint32_t id, std::uint32_t did, std::uint32_t first_byte, int role,
                      std::int32_t code_scale_q16, bool little_endian, const char* name) {
    return OwnersFields{.id = id,
                        .request_id = 0x7E4,
                        .did = did,
                        .first_byte = first_byte,
                        .little_endian = little_endian,
                        .is_signed = little_endian,
                        .role = role,
                        .name = name,
                        .code_scale_q16 = code_scale_q16};
  };
  return {.van = "heron",
          .owners = {one(1000, 0x2000, 0, kCurrent, 13'107, true, "amps"),
                     one(1001, 0x2000, 2, kVoltage, 0, false, "volts"),
                     one(1002, 0x2001, 0, kSoc, 83'558, false, "charge"),
                     one(1003, 0x2002, 0, kSpeed, 655, false, "speed_fine")}};
}

}  // namespace

TEST_CASE("logger: a van that answers by standard identifiers is kept like any other") {
  FakeVan plain = started_van();
  plain.plug_adapter();
  plain.run_until(60'000);
  plain.stop();

  FakeVan van(32 + 256);
  van.ecus = plain_van();
  van.ecus.resize(1);
  van.ecus[0].by_id = true;
  van.power_up();
  van.plug_adapter();
  van.run_until(60'000);
  van.stop();

  // The same words at the same rate.
  for (const SignalId id : {signal::pack_v, signal::pack_a, signal::soc_pct, signal::odometer_km}) {
    const auto by_pid = plain.samples(id);
    const auto by_id = van.samples(id);
    CAPTURE(id);
    REQUIRE_FALSE(by_id.empty());
    CHECK(by_id.size() >= by_pid.size() * 9 / 10);
    CHECK(by_id.front().ecu == 0x7E8);
    if (id != signal::pack_v) CHECK(by_id.front().raw == by_pid.front().raw);
  }
  bool told = false;
  for (const auto& one : van.sectors())
    for (const DecodedPoll& poll : one.record.session.poll) {
      CHECK(poll.by_did);
      CHECK(one.record.session.vin == plain_van()[0].vin);
      told = told || poll.pids.find('\x9A') != std::string::npos;
    }
  CHECK(told);
  CHECK(van.logger().counters().refused_transmits == 0);
}

TEST_CASE("logger: the owner's signals of a van that answers nothing else") {
  FakeVan van(32 + 256);
  van.ecus = owners_van();
  van.prepare(owners_settings());
  van.power_up();
  van.plug_adapter();
  van.run_until(60'000);
  van.stop();
  REQUIRE(van.logger().settings_outcome() == SettingsOutcome::taken);
  const auto amps = van.samples(1000);
  const auto volts = van.samples(1001);
  CHECK(amps.size() > 250);  // 5 Hz of a minute, without discovery
  REQUIRE(volts.size() == amps.size());
  for (std::size_t i = 0; i < amps.size(); ++i) {
    CHECK(amps[i].tick_ms == volts[i].tick_ms);
    CHECK(volts[i].raw == 0x0E74);
    CHECK((amps[i].raw >= 0x10000 - 550 && amps[i].raw <= 0x10000 - 500));
    CHECK(amps[i].ecu == 0x7EC);
  }
  CHECK(van.samples(1002).front().raw == 0x008C);
  CHECK(van.samples(1003).front().raw == 0x1388);
  CHECK(van.samples(1003).size() > 250);
  // Losing any sector loses no meaning: the definitions are on the card.
  std::set<Bytes> definitions;
  for (const auto& one : van.sectors())
    for (const auto& definition : one.record.session.owners) definitions.insert(definition);
  std::set<Bytes> given;
  for (const OwnersFields& one : owners_settings().owners) given.insert(encode_owners(one));
  CHECK(definitions == given);
  CHECK(van.logger().counters().refused_transmits == 0);
}

// What the owner's signals say of the van's use keeps the logger asking, or not.
TEST_CASE("logger: the duty of a van is told by the owner's signals too") {
  for (const bool parked : {false, true}) {
    FakeVan van(32 + 256);
    van.ecus = owners_van();
    if (parked) {
      van.ecus[0].dids[0x2000] = constant({0x05, 0x00, 0x0E, 0x74});  // 0.1 A
      van.ecus[0].dids[0x2002] = constant({0, 0});
    }
    van.prepare(owners_settings());
    van.power_up();
    van.plug_adapter();
    van.run_until(11 * 60'000);
    const std::size_t late = van.count_sent(9 * 60'000, 11 * 60'000, "t7E4");
    CAPTURE(parked);
    CHECK(parked == (late == 0));
    CHECK(parked != (van.logger().light() == Light::recording));
  }
}

TEST_CASE("logger: without a list such a van is asked for nothing of its own, and listened to") {
  FakeVan van(32 + 256);
  van.ecus = owners_van();
  van.power_up();
  van.plug_adapter();
  van.run_until(60'000);
  CHECK(van.count_sent(0, 60'000, "t7E4") == 0);
  CHECK(van.count_sent(0, 60'000, "t7DF") > 0);
  CHECK(van.samples(1000).empty());
  CHECK(van.logger().light() == Light::waiting);
}

TEST_CASE("logger: settings that come later than the van are obeyed all the same") {
  FakeVan van(32 + 256);
  van.ecus = owners_van();
  van.ecus.push_back(plain_van()[0]);  // found without any list
  van.prepare(owners_settings());
  van.answer_card = false;
  van.power_up();
  van.plug_adapter();
  van.run_until(10'000);
  CHECK(van.count_sent(0, 10'000, "t7E4") == 0);
  van.answer_card = true;
  van.run_until(60'000);
  van.stop();
  CHECK(van.samples(1000).size() > 150);
  CHECK(van.samples(signal::speed_kmh).size() > 100);
}

TEST_CASE("logger: an answer that is too short for a word leaves that word out") {
  FakeVan van(32 + 256);
  van.ecus = owners_van();
  van.ecus[0].dids[0x2000] = constant({0x05, 0x00, 0x0E});
  van.prepare(owners_settings());
  van.power_up();
  van.plug_adapter();
  van.run_until(30'000);
  van.stop();
  CHECK(van.samples(1000).size() > 100);
  CHECK(van.samples(1001).empty());
}
