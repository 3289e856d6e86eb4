// Session records, read back by libprotobuf.
#include "core/session_record.hpp"
#include "core/settings.hpp"

#include <doctest/doctest.h>

#include <array>
#include <bit>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "card_decode.hpp"

using namespace packmile;
using packmile::test::decode_record;
using packmile::test::DecodedSession;

namespace {

template <std::size_t N>
FixedText<N> text(const std::string& s) {
  FixedText<N> out;
  for (const char c : s) out.append(c);
  return out;
}

VanMap map_of(std::size_t ecus) {
  VanMap map;
  map.vin = text<17>("1M8GDM9AXKP042788");
  for (std::size_t i = 0; i < ecus; ++i) {
    VanEcu& ecu = map.ecu[map.ecu_count++];
    ecu.response_id = static_cast<std::uint32_t>(0x18DAF100 + i);
    ecu.extended = true;
    ecu.name = text<20>("ECU-ABCDEFGHIJKLMNO" + std::to_string(i));
    ecu.calibration_id = text<16>("CALIBRATION-000" + std::to_string(i));
    for (std::size_t r = 0; r < kPidRanges; ++r) {
      const std::array<std::uint8_t, 4> bits{static_cast<std::uint8_t>(i), 0x34,
                                             static_cast<std::uint8_t>(r), 0x01};
      CHECK(ecu.pids.set(static_cast<std::uint8_t>(r * 0x20), bits));
    }
  }
  return map;
}

std::vector<DecodedSession> write_all(const SessionSource& source) {
  SessionWriter writer;
  writer.start();
  std::vector<DecodedSession> parts;
  std::array<std::uint8_t, kSectorPayloadBytes> out{};
  while (writer.pending()) {
    REQUIRE(parts.size() < 20);
    const std::size_t bytes = writer.write(source, out);
    REQUIRE(bytes <= kSectorPayloadBytes);
    const auto record = decode_record(std::span(out).first(bytes));
    REQUIRE(record.parsed);  // and canonical: the same bytes when written again
    REQUIRE(record.has_session);
    parts.push_back(record.session);
  }
  return parts;
}

}  // namespace

TEST_CASE("session: the first record of a boot knows little and says it") {
  SessionSource source;
  source.tick = 12;
  source.van = "heron";
  source.reset_cause = BootCause::watchdog;
  const auto parts = write_all(source);
  REQUIRE(parts.size() == 1);
  CHECK(parts[0].tick_ms == 12);
  CHECK(parts[0].van == "heron");
  CHECK(parts[0].vin.empty());
  CHECK(parts[0].reset_cause == 3);
  CHECK(parts[0].clock_source == 0);
  CHECK(parts[0].kbit_per_s == 0);
  CHECK(parts[0].logger_version == logger_version());
  CHECK_FALSE(logger_version().empty());
  CHECK(parts[0].has_counters);
}

TEST_CASE("session: every field arrives") {
  const VanMap map = map_of(1);
  std::vector<PollRequest> polls(2);
  polls[0].response_id = 0x7E8;
  polls[0].pid = {0x9A, 0x0D};
  polls[0].pid_count = 2;
  polls[0].period_ms = 200;
  polls[1].response_id = 0x7E9;
  polls[1].pid = {0x46};
  polls[1].pid_count = 1;
  polls[1].period_ms = 60'000;
  SessionSource source;
  source.tick = 9'999'999'999;  // more than 32 bits
  source.van = "heron";
  source.clock = WallClockReading{.source = WallClockSource::system,
                                  .unix_ms = 1'767'592'800'123,
                                  .tick = 55,
                                  .resolution_ms = 1};
  source.kbit_per_s = 500;
  source.extended_ids = true;
  source.map = &map;
  source.polls = polls;
  source.counters.requests = 1000;
  source.counters.responses = 998;
  source.counters.refused_transmits = 3;
  source.counters.dropped_samples = 4'000'000'000;
  source.counters.requests_while_parked = 5;
  source.counters.card_write_failures = 6;
  source.supply_min_mv = 12'345;
  const auto parts = write_all(source);
  REQUIRE(parts.size() == 1);
  const DecodedSession& s = parts[0];
  CHECK(s.tick_ms == 9'999'999'999);
  CHECK(s.vin == "1M8GDM9AXKP042788");
  CHECK(s.clock_source == 3);
  CHECK(s.clock_unix_ms == 1'767'592'800'123);
  CHECK(s.clock_tick_ms == 55);
  CHECK(s.kbit_per_s == 500);
  CHECK(s.extended_ids);
  CHECK(s.supply_min_mv == 12'345);
  CHECK(s.requests == 1000);
  CHECK(s.responses == 998);
  CHECK(s.refused_transmits == 3);
  CHECK(s.dropped_samples == 4'000'000'000);
  CHECK(s.requests_while_parked == 5);
  CHECK(s.card_write_failures == 6);
  REQUIRE(s.poll.size() == 2);
  CHECK(s.poll[0].ecu == 0x7E8);
  CHECK(s.poll[0].pids == std::string("\x9A\x0D"));
  CHECK(s.poll[0].period_ms == 200);
  REQUIRE(s.ecu.size() == 1);
  CHECK(s.ecu[0].response_id == 0x18DAF100);
  CHECK(s.ecu[0].name == "ECU-ABCDEFGHIJKLMNO0");
  CHECK(s.ecu[0].calibration_id == "CALIBRATION-0000");
  REQUIRE(s.ecu[0].supported_pids.size() == 32);
  CHECK(s.ecu[0].supported_pids.substr(8, 4) == std::string("\x00\x34\x02\x01", 4));
}

// The largest van there can be: eight ECUs with every bitmap, twenty polls.
TEST_CASE("session: what does not fit goes on in the next sector, each item once") {
  for (std::size_t ecus = 0; ecus <= kMaxEcus; ++ecus) {
    for (const std::size_t name_bytes : {0u, 1u, 20u, 40u}) {
      CAPTURE(ecus);
      CAPTURE(name_bytes);
      const VanMap map = map_of(ecus);
      std::vector<PollRequest> polls(kMaxPolls);
      for (std::size_t i = 0; i < polls.size(); ++i) {
        polls[i].response_id = 0x18DAF100;
        polls[i].pid = {static_cast<std::uint8_t>(i), 1, 2, 3, 4, 5};
        polls[i].pid_count = 6;
        polls[i].period_ms = 60'000;
        polls[i].retired = i == 7;
      }
      SessionSource source;
      source.tick = 0xFFFFFFFFFFFF;
      const std::string name(name_bytes, 'v');
      source.van = name;
      source.clock = WallClockReading{.source = WallClockSource::gnss,
                                      .unix_ms = 0xFFFFFFFFFFFF,
                                      .tick = 0xFFFFFFFFFFFF,
                                      .resolution_ms = 0xFFFFFFFF};
      source.kbit_per_s = 500;
      source.map = &map;
      source.polls = polls;
      source.counters = {0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF,
                         0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF,
                         0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF};
      source.supply_min_mv = 0xFFFF;
      const auto parts = write_all(source);
      std::multiset<std::uint32_t> seen_ecus;
      std::multiset<int> seen_polls;
      std::size_t with_counters = 0;
      for (const auto& part : parts) {
        CHECK(part.vin == "1M8GDM9AXKP042788");
        CHECK(part.van == name);
        for (const auto& ecu : part.ecu) seen_ecus.insert(ecu.response_id);
        for (const auto& poll : part.poll)
          seen_polls.insert(static_cast<std::uint8_t>(poll.pids[0]));
        if (part.has_counters) ++with_counters;
      }
      CHECK(with_counters == 1);
      CHECK(parts[0].has_counters);
      CHECK(seen_ecus.size() == ecus);
      CHECK(std::set<std::uint32_t>(seen_ecus.begin(), seen_ecus.end()).size() == ecus);
      CHECK(seen_polls.size() == kMaxPolls - 1);
      CHECK(seen_polls.count(7) == 0);
    }
  }
}

TEST_CASE("session: each counter arrives in the field of its name") {
  SessionSource source;
  LoggerCounters& c = source.counters;
  const std::map<std::string, std::uint32_t*> counters{
      {"requests", &c.requests},
      {"responses", &c.responses},
      {"timeouts", &c.timeouts},
      {"negative_responses", &c.negative_responses},
      {"pending_responses", &c.pending_responses},
      {"isotp_dropped", &c.isotp_dropped},
      {"lines_discarded", &c.lines_discarded},
      {"adapter_reopened", &c.adapter_reopened},
      {"refused_transmits", &c.refused_transmits},
      {"requests_while_parked", &c.requests_while_parked},
      {"foreign_tester_events", &c.foreign_tester_events},
      {"card_write_failures", &c.card_write_failures},
      {"dropped_samples", &c.dropped_samples},
      {"other_frames_per_s", &c.other_frames_per_s},
      {"echoed_frames", &c.echoed_frames},
      {"late_answers", &c.late_answers},
      {"reply_wait_ms", &c.reply_wait_ms}};
  std::map<std::string, std::uint32_t> wanted;
  for (const auto& [name, counter] : counters)
    wanted[name] = *counter = 1'000 + static_cast<std::uint32_t>(wanted.size());
  CHECK(write_all(source)[0].counters == wanted);
}

TEST_CASE("session: what a fault handler wrote down, once in a record and also in a full one") {
  SessionSource source;
  CHECK_FALSE(write_all(source)[0].has_fault);
  source.reset_cause = BootCause::fault;
  source.fault = {.exception = 3,
                  .program_counter = 0x0000'1236,
                  .link_register = 0xFFFF'FFF9,
                  .status = 0x0000'8200};
  const auto one = write_all(source);
  REQUIRE(one.size() == 1);
  CHECK(one[0].has_fault);
  CHECK(one[0].fault == std::array<std::uint32_t, 4>{3, 0x1236, 0xFFFF'FFF9, 0x8200});
  // Registers of 0 are no reason to leave it out.
  source.fault = {.exception = 6};
  CHECK(write_all(source)[0].fault == std::array<std::uint32_t, 4>{6, 0, 0, 0});

  const VanMap map = map_of(8);
  source.map = &map;
  source.tick = ~Tick{0};
  source.supply_min_mv = 0xFFFF;
  source.listen_only_s = 0xFFFF'FFFF;
  source.clean_stop = true;
  source.not_found_in_row = 0xFF;
  source.counters = std::bit_cast<LoggerCounters>([] {
    std::array<std::uint32_t, sizeof(LoggerCounters) / 4> most{};
    most.fill(0xFFFF'FFFF);
    return most;
  }());
  source.fault = {~0u, ~0u, ~0u, ~0u};
  for (std::size_t length = 0; length <= kMaxVanNameBytes; ++length) {
    const std::string van(length, 'x');
    source.van = van;
    const auto parts = write_all(source);
    std::size_t ecus = 0;
    for (std::size_t i = 0; i < parts.size(); ++i) {
      CHECK(parts[i].has_fault == (i == 0));
      ecus += parts[i].ecu.size();
    }
    CHECK(parts[0].fault == std::array<std::uint32_t, 4>{~0u, ~0u, ~0u, ~0u});
    CHECK(ecus == 8);
  }
}

// A short record: its length is one byte, and the body has moved up.
// A sector that is filled up with ECUs and polls keeps room for the counters,
// however large they have become.
TEST_CASE("session: the largest counters fit behind a full sector") {
  const VanMap map = map_of(8);
  SessionSource source;
  source.tick = ~Tick{0};
  source.map = &map;
  source.supply_min_mv = 0xFFFF;
  LoggerCounters& c = source.counters;
  for (std::uint32_t* counter :
       {&c.requests, &c.responses, &c.timeouts, &c.negative_responses, &c.pending_responses,
        &c.isotp_dropped, &c.lines_discarded, &c.adapter_reopened, &c.refused_transmits,
        &c.requests_while_parked, &c.foreign_tester_events, &c.card_write_failures,
        &c.dropped_samples, &c.other_frames_per_s, &c.echoed_frames, &c.late_answers,
        &c.reply_wait_ms})
    *counter = 0xFFFFFFFF;
  // Each length moves the place where the ECUs end.
  for (std::size_t length = 0; length <= kMaxVanNameBytes; ++length) {
    const std::string van(length, 'x');
    source.van = van;
    const auto parts = write_all(source);
    REQUIRE(parts.size() > 1);
    CHECK(parts[0].van == van);
  }
}

TEST_CASE("session: lengths around 127 bytes are written in the shortest way") {
  for (std::size_t n = 0; n <= kMaxVanNameBytes; ++n) {
    SessionSource source;
    const std::string name(n, 'n');
    source.van = name;
    source.counters.requests = 0xFFFFFFFF;
    source.clock = WallClockReading{.source = WallClockSource::rtc, .unix_ms = 1, .tick = 1};
    const auto parts = write_all(source);
    REQUIRE(parts.size() == 1);
    CHECK(parts[0].van == name);
  }
  const VanMap map = map_of(1);
  for (std::size_t n = 0; n <= kMaxVanNameBytes; ++n) {
    SessionSource source;
    const std::string name(n, 'n');
    source.van = name;
    source.map = &map;
    CHECK(write_all(source)[0].van == name);
  }
}

TEST_CASE("session: owner's definitions as they came, identifiers of an ECU, and how it is asked") {
  OwnersSignals owners;
  std::vector<std::vector<std::uint8_t>> given;
  for (std::uint32_t i = 0; i < 12; ++i) {
    given.push_back(test::encode_owners({.id = 1000 + i,
                                         .did = 0x2000 + i,
                                         .period_ms = 5'000,
                                         .role = static_cast<int>(i % 9),
                                         .scale = 0.1,
                                         .offset = -40,
                                         .name = "made_up_signal_" + std::to_string(i),
                                         .unit = "degC"}));
    if (!owners.add(given.back())) given.pop_back();
  }
  REQUIRE(given.size() >= 6);
  VanMap map = map_of(kMaxEcus);
  constexpr std::array<std::uint8_t, 4> kBits{0, 0x08, 0, 0};
  CHECK(map.ecu[1].dids.set(0, kBits));
  std::array<PollRequest, 2> polls{};
  polls[0] = {
      .response_id = 0x7EC, .period_ms = 200, .pid = {0x9A}, .pid_count = 1, .by_did = true};
  polls[1] = {.response_id = 0x7EC, .period_ms = 5'000, .owners_did = 0x2003};
  SessionSource source;
  source.map = &map;
  source.polls = polls;
  source.owners = &owners;
  const auto parts = write_all(source);
  CHECK(parts.size() > 1);
  std::vector<std::vector<std::uint8_t>> seen;
  std::vector<test::DecodedPoll> asked;
  std::size_t with_dids = 0;
  for (const DecodedSession& part : parts) {
    seen.insert(seen.end(), part.owners.begin(), part.owners.end());
    asked.insert(asked.end(), part.poll.begin(), part.poll.end());
    for (const test::DecodedEcu& ecu : part.ecu)
      if (!ecu.supported_dids.empty()) {
        ++with_dids;
        CHECK(ecu.response_id == 0x18DAF101);
        CHECK(ecu.supported_dids == std::string("\0\x08\0\0", 4));
      }
  }
  CHECK(seen == given);
  CHECK(with_dids == 1);
  REQUIRE(asked.size() == 2);
  CHECK(asked[0].by_did);
  CHECK(asked[0].pids == "\x9A");
  CHECK(asked[0].owners_did == 0);
  CHECK_FALSE(asked[1].by_did);
  CHECK(asked[1].owners_did == 0x2003);
}
