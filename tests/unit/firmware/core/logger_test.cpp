// class Logger as a whole, against the small fake van of fake_van.hpp: what it
// keeps, what it does with the card, and what it bears. logger_bus_test.cpp has the
// way to the van.
#include "core/logger.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <set>

#include "fake_van.hpp"

using namespace packmile;
using namespace packmile::test;

// Of 12 KiB, 2 are the stack's.
TEST_CASE("logger: its RAM stays below 9.5 KiB") {
  MESSAGE("sizeof(Logger) = ", sizeof(Logger));
  CHECK(sizeof(Logger) < 9 * 1024 + 512);
}

TEST_CASE("logger: a van is found, asked and kept") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(30'000);
  CHECK(van.logger().light() == Light::recording);
  van.stop();
  CHECK(van.logger().stopped());
  const auto found = van.sectors();
  REQUIRE(found.size() > 3);
  CHECK(found[0].address == kHeadSectors);
  CHECK(found[0].header.kind == SectorKind::session);
  CHECK(found[0].header.sequence == 0);
  CHECK(found[0].header.log_id == 0x11223344);
  CHECK(found[0].record.session.van == "heron");
  CHECK(found[0].record.session.vin == "");
  std::string vin;
  for (const auto& one : found) {
    CHECK(one.record.parsed);
    CHECK(one.header.boot_id == found[0].header.boot_id);
    if (one.record.has_session && !one.record.session.vin.empty()) vin = one.record.session.vin;
  }
  CHECK(vin == "1M8GDM9AXKP042788");
  CHECK(found.back().header.van_tag == van_tag_of(std::span<const char>(vin.data(), vin.size())));

  const auto speed = van.samples(signal::speed_kmh);
  const auto volts = van.samples(signal::pack_v);
  REQUIRE(speed.size() > 100);
  REQUIRE(volts.size() == speed.size());
  for (std::size_t i = 0; i < volts.size(); ++i) {
    CHECK(speed[i].raw == 0x32);
    CHECK(volts[i].tick_ms == speed[i].tick_ms);
    // The tick is that of the first frame of the reply, the word that of the
    // moment at which the request was complete, 5 ms before.
    CHECK(volts[i].raw == 0x5780 + (volts[i].tick_ms - van.answer_after_ms) / 1000);
    if (i != 0) CHECK(volts[i].tick_ms - volts[i - 1].tick_ms <= 220);
  }
  // A sample's tick is that of the first frame of its answer.
  std::set<Tick> first_frames;
  for (const auto& [tick, line] : van.heard)
    if (line.starts_with("t7E8810")) first_frames.insert(tick);
  for (const auto& one : volts) CHECK(first_frames.contains(one.tick_ms));
  // The plan: 5 Hz.
  const double seconds = static_cast<double>(speed.back().tick_ms - speed.front().tick_ms) / 1000;
  CHECK(static_cast<double>(speed.size() - 1) / seconds == doctest::Approx(5.0).epsilon(0.01));
  const auto soc = van.samples(signal::soc_pct);
  CHECK(soc.size() >= 4);
  CHECK(soc.size() <= 7);
  CHECK(van.logger().counters().refused_transmits == 0);
}

// Every machine's first property: the chunking cannot be seen.
TEST_CASE("logger: any chunking of the same bytes gives the same sectors and requests") {
  Bytes card;
  std::vector<std::pair<Tick, std::string>> sent;
  for (const std::size_t chunk : {0u, 1u, 2u, 3u, 7u, 22u, 100u}) {
    FakeVan van(32 + 512);
    van.ecus = plain_van();
    // The next request leaves in the turn of the answer: what follows the answer in
    // the same bytes meets it.
    van.prepare({.van = "heron", .driving_period_ms = 0});
    van.power_up();
    van.chunk = chunk;
    van.after_frame.push_back('\r');
    van.plug_adapter();
    van.run_until(20'000);
    van.acknowledged = false;
    van.run_until(40'000);
    van.stop();
    if (card.empty()) {
      card = van.card;
      sent = van.sent;
    }
    CAPTURE(chunk);
    CHECK(van.card == card);
    CHECK((van.sent == sent));
  }
}

TEST_CASE("logger: on_time before the deadline does nothing, and time never runs backwards") {
  FakeVan quiet = started_van();
  quiet.plug_adapter();
  quiet.run_until(20'000);
  quiet.stop();
  FakeVan nagged = started_van();
  nagged.plug_adapter();
  for (Tick t = 1; t <= 20'000; t += 7) {
    nagged.run_until(t);
    for (const Tick early : {Tick{0}, t / 2, t})
      if (early < nagged.logger().deadline()) nagged.logger().on_time(early);
  }
  nagged.run_until(20'000);
  nagged.stop();
  CHECK(nagged.card == quiet.card);

  // Inputs with an older time are taken as of now.
  FakeVan back = started_van();
  back.plug_adapter();
  back.run_until(10'000);
  back.logger().on_supply(3, 14'000);
  back.logger().on_clock(2, {.source = WallClockSource::system, .unix_ms = 5, .tick = 2});
  back.awake = false;
  while (back.sent.back().second.find("019A0D") == std::string::npos)
    back.run_until(back.now() + 1);
  const Tick injected_at = back.now();
  const std::string answer = "t7E8803410D32AAAAAAAA\r";
  back.logger().on_bytes(
      5, std::span(reinterpret_cast<const std::uint8_t*>(answer.data()), answer.size()));
  back.awake = true;
  back.run_until(20'000);
  back.stop();
  std::vector<Tick> ticks;  // block by block on the card
  for (const auto& one : back.samples(signal::speed_kmh)) ticks.push_back(one.tick_ms);
  std::sort(ticks.begin(), ticks.end());
  REQUIRE(ticks.size() > 50);
  CHECK(std::adjacent_find(ticks.begin(), ticks.end()) == ticks.end());
  CHECK(ticks.front() > 3'000);
  CHECK(std::binary_search(ticks.begin(), ticks.end(), injected_at));
}

TEST_CASE("logger: answers that nobody asked for change no sample") {
  FakeVan calm = started_van();
  calm.plug_adapter();
  calm.run_until(20'000);
  FakeVan noisy = started_van();
  noisy.plug_adapter();
  for (Tick t = 5'000; t < 20'000; t += 50) {
    noisy.run_until(t);
    noisy.logger().on_card(t, {.ok = true});  // no request is open
    noisy.logger().on_card(t, {.ok = false});
    noisy.say(1, "t1238DEADBEEF00000000\r");  // the van's own traffic
    noisy.say(1, "t7E8806410C1AF8AAAAAA\r");  // a PID that nobody asked
    noisy.say(2, "t7EF803410D99AAAAAAAA\r");  // an ECU that is not there
    noisy.say(3, "hello world, this is not a line\r");
    noisy.say(4, "V1013\r");
  }
  noisy.run_until(20'000);
  for (const std::uint32_t id : {signal::speed_kmh, signal::pack_a, signal::soc_pct}) {
    const auto a = calm.samples(id);
    const auto b = noisy.samples(id);
    REQUIRE(a.size() > 1);
    CHECK(a == b);
  }
  CHECK(noisy.logger().counters().lines_discarded > 0);
}

TEST_CASE("logger: at a power cut at any moment, at most 10 s of samples are lost") {
  for (Tick cut = 8'000; cut < 60'000; cut += 1'733) {
    FakeVan van = started_van();
    van.plug_adapter();
    van.run_until(cut);
    CAPTURE(cut);
    const auto volts = van.samples(signal::pack_v);
    const Tick last = volts.empty() ? 4'200 : volts.back().tick_ms;
    CHECK(cut - last <= 10'000 + 210);
  }
}

TEST_CASE("logger: the first sector of a boot tells how the logger failed in the run before") {
  FakeVan van = started_van();
  van.run_until(5'000);
  van.written.clear();
  van.reset_cause = BootCause::fault;
  van.fault = {
      .exception = 5, .program_counter = 0x2468, .link_register = 0x1357, .status = 0x8200};
  van.power_up(1);
  van.plug_adapter();
  van.run_until(45'000);
  REQUIRE(!van.written.empty());
  for (const auto& one : van.sectors()) {
    if (one.address != van.written.front()) continue;
    CHECK(one.record.session.reset_cause == 4);
    CHECK(one.record.session.fault == std::array<std::uint32_t, 4>{5, 0x2468, 0x1357, 0x8200});
  }
}

TEST_CASE("logger: each boot starts at the next 16 KiB, with a new boot id") {
  FakeVan van = started_van();
  std::vector<std::uint32_t> boots;
  std::uint32_t last_sequence = 0;
  for (int boot = 0; boot < 12; ++boot) {
    van.written.clear();
    van.power_up(1);  // the entropy does not help
    van.plug_adapter();
    van.run_until(45'000 + static_cast<Tick>(boot) * 9'000);
    CAPTURE(boot);
    REQUIRE(!van.written.empty());
    CHECK((van.written.front() - kHeadSectors) % kBootAlignSectors == 0);
    for (const auto& one : van.sectors()) {
      if (one.address != van.written.front()) continue;
      CHECK(one.header.kind == SectorKind::session);
      CHECK(one.record.session.reset_cause == 1);
      if (boot != 0) {
        CHECK(one.header.sequence > last_sequence);
        CHECK(one.header.sequence - last_sequence <= kBootAlignSectors);
      }
      for (const std::uint32_t other : boots) CHECK(one.header.boot_id != other);
      boots.push_back(one.header.boot_id);
    }
    for (const auto& one : van.sectors())
      last_sequence = std::max(last_sequence, one.header.sequence);
  }
  CHECK(boots.size() == 12);
}

TEST_CASE("logger: with the head destroyed it writes on in the same log") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(30'000);
  const auto before = van.sectors();
  van.card[40] ^= 0xFF;
  van.power_up();
  van.plug_adapter();
  van.run_until(30'000);
  CHECK(van.logger().settings_outcome() == SettingsOutcome::no_settings);
  const auto after = van.sectors();
  CHECK(after.size() > before.size() + 2);
  for (const auto& one : after) CHECK(one.header.log_id == 0x11223344);
}

TEST_CASE("logger: refused settings leave the defaults in force") {
  FakeVan van(32 + 256);
  van.ecus = plain_van();
  van.prepare({.van = std::string(41, 'x'), .driving_period_ms = 1'000});
  van.power_up();
  van.plug_adapter();
  van.run_until(30'000);
  CHECK(van.logger().settings_outcome() == SettingsOutcome::name_too_long);
  CHECK(van.samples(signal::pack_v).size() > 70);
  CHECK(van.sectors()[0].record.session.van.empty());
}

TEST_CASE("logger: the settings' period is in force and on the card") {
  FakeVan van(32 + 256);
  van.ecus = plain_van();
  van.prepare({.van = "heron", .driving_period_ms = 1'000});
  van.power_up();
  van.plug_adapter();
  van.run_until(30'000);
  van.stop();
  const auto volts = van.samples(signal::pack_v);
  CHECK(volts.size() >= 24);
  CHECK(volts.size() <= 27);
  for (const auto& one : volts) CHECK(one.period_ms == 1'000);
  std::uint32_t told = 0;
  for (const auto& one : van.sectors())
    for (const auto& poll : one.record.session.poll)
      if (poll.pids == std::string("\x9A\x0D")) told = poll.period_ms;
  CHECK(told == 1'000);
}

// FORMAT.md: session data at least every 128 sectors, through ring wraps.
TEST_CASE("logger: period 0 asks again in the turn of the answer, sessions come often enough") {
  FakeVan van(32 + 512);
  van.ecus = plain_van();
  van.prepare({.van = "heron", .driving_period_ms = 0});
  van.answer_after_ms = 2;
  van.power_up();
  van.plug_adapter();
  van.run_until(600'000);
  const std::size_t asked = van.count_sent(10'000, 600'000, "t7E08");
  // A request, its flow control 2 ms later, the rest 2 ms after that: 4 ms.
  CHECK(asked > 2 * 590'000 / 4 * 95 / 100);
  auto found = van.sectors();
  std::sort(found.begin(), found.end(),
            [](const auto& a, const auto& b) { return a.header.sequence < b.header.sequence; });
  REQUIRE(found.size() >= 500);
  std::uint32_t last_session = found.front().header.sequence;
  for (const auto& one : found) {
    if (one.header.kind == SectorKind::session) last_session = one.header.sequence;
    CHECK(one.header.sequence - last_session < kSessionEverySectors);
    CHECK(one.record.parsed);
  }
  CHECK(van.logger().counters().dropped_samples == 0);
}

TEST_CASE("logger: a card that fails is left behind place by place, nothing is written twice") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(20'000);
  van.fail_writes = 2;
  van.run_until(60'000);
  van.stop();
  CHECK(van.logger().counters().card_write_failures == 2);
  CHECK(van.logger().counters().dropped_samples == 0);
  std::vector<std::uint32_t> places = van.written;
  std::sort(places.begin(), places.end());
  CHECK(std::adjacent_find(places.begin(), places.end()) == places.end());
  const auto volts = van.samples(signal::pack_v);
  for (std::size_t i = 1; i < volts.size(); ++i)
    CHECK(volts[i].tick_ms - volts[i - 1].tick_ms <= 220);

  FakeVan dead = started_van();
  dead.plug_adapter();
  dead.run_until(20'000);
  dead.fail_writes = -1;
  dead.run_until(20 * 60'000);
  CHECK(dead.logger().light() == Light::card_trouble);
  CHECK(dead.logger().counters().dropped_samples > 1'000);
  dead.fail_writes = 0;
  dead.run_until(21 * 60'000);
  CHECK(dead.logger().light() == Light::recording);
  dead.stop();
  CHECK(dead.logger().stopped());
  std::uint64_t told = 0;
  for (const auto& one : dead.sectors()) told += one.record.dropped_samples;
  CHECK(told == dead.logger().counters().dropped_samples);
}

TEST_CASE("logger: a card that cannot be read is not taken for an empty one") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(60'000);
  const Bytes before = van.card;
  van.fail_reads = 60;  // the card needs its time
  van.written.clear();
  van.power_up();
  van.plug_adapter();
  van.run_until(2'000);
  CHECK(van.written.empty());
  CHECK(van.logger().light() == Light::card_trouble);
  van.run_until(120'000);
  REQUIRE(!van.written.empty());
  CHECK(van.written.front() == kHeadSectors + 32);  // behind what was there
  // What was there is untouched.
  for (std::size_t i = 0; i < 32 * kSectorBytes; ++i)
    REQUIRE(van.card[kHeadSectors * kSectorBytes + i] == before[kHeadSectors * kSectorBytes + i]);

  // Nor one of which only the head can be read.
  van.fail_ring_reads = true;
  van.written.clear();
  van.power_up();
  van.run_until(120'000);
  CHECK(van.written.empty());
  CHECK(van.logger().light() == Light::card_trouble);
  van.fail_ring_reads = false;
  van.run_until(122'000);
  REQUIRE(!van.written.empty());
  CHECK(van.written.front() == kHeadSectors + 64);

  // One bad place is only that.
  van.written.clear();
  van.fail_reads_at = kHeadSectors + 33;
  van.power_up();
  REQUIRE(!van.written.empty());
  CHECK(van.written.front() == kHeadSectors + 96);
}

TEST_CASE("logger: a log without room for a ring says so, and still reads the van") {
  FakeVan van(40);
  van.ecus = plain_van();
  van.power_up();
  van.plug_adapter();
  van.run_until(10'000);
  CHECK(van.logger().light() == Light::card_trouble);
  CHECK(van.written.empty());
  van.stop();
  CHECK(van.logger().stopped());
}

TEST_CASE("logger: on_stop writes the open sector and closes the adapter, at any moment") {
  for (Tick at = 0; at < 9'000; at += 61) {
    FakeVan van = started_van();
    van.plug_adapter();
    van.run_until(at);
    van.stop();
    CAPTURE(at);
    REQUIRE(van.logger().stopped());
    CHECK(van.sent.back().second == "C");
    CHECK(van.logger().deadline() == kNoDeadline);
    const std::uint32_t answered = van.logger().counters().responses;
    std::uint32_t told = 0;
    for (const auto& one : van.sectors())
      if (one.record.has_session && one.record.session.has_counters)
        told = one.record.session.responses;
    CHECK(told == answered);
    // After the end nothing happens any more.
    const Bytes card = van.card;
    van.logger().on_supply(at + 5'000, 14'000);
    van.logger().on_adapter(at + 5'000, AdapterLink::up);
    van.run_until(at + 60'000);
    CHECK(van.card == card);
  }
}

TEST_CASE("logger: the clock is on the card when it is known, and not every second") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.logger().on_clock(0, {.source = WallClockSource::system,
                            .unix_ms = 1'767'592'800'000,
                            .tick = 0,
                            .resolution_ms = 1});
  for (Tick t = 1'000; t <= 60'000; t += 1'000) {
    van.run_until(t);
    van.logger().on_clock(t, {.source = WallClockSource::system,
                              .unix_ms = 1'767'592'800'000 + t,
                              .tick = t,
                              .resolution_ms = 1});
  }
  std::size_t sessions = 0;
  for (const auto& one : van.sectors()) {
    if (!one.record.has_session) continue;
    if (++sessions == 1) continue;  // written before anybody knew the time
    CHECK(one.record.session.clock_source == 3);
    CHECK(one.record.session.clock_unix_ms - one.record.session.clock_tick_ms == 1'767'592'800'000);
  }
  CHECK(sessions >= 3);
  CHECK(sessions <= 5);
  // The clock was set: told at once.
  van.logger().on_clock(60'500, {.source = WallClockSource::system,
                                 .unix_ms = 5'000'000'000'000,
                                 .tick = 60'500,
                                 .resolution_ms = 1});
  van.run_until(61'000);
  bool told = false;
  for (const auto& one : van.sectors())
    if (one.record.session.clock_unix_ms == 5'000'000'000'000) told = true;
  CHECK(told);
}

// Any bytes at any time: no crash, no endless turn, nothing on the bus but what
// may be there.
TEST_CASE("logger: hostile bytes") {
  std::uint32_t noise = 20'260'105;
  const auto next = [&noise] { return (noise = noise * 1'664'525 + 1'013'904'223) >> 8; };
  const std::vector<std::string> lines{"\r",
                                       "\a",
                                       "z\r",
                                       "e1a\r",
                                       "sb256256\r",
                                       "t7E8806410032AAAAAAAA\r",
                                       "t7E88101449020131AABB\r",
                                       "t7E8821AABBCCDDEEFF00\r",
                                       "t7E88FFFFFFFFFFFFFFFF\r",
                                       "t7E88037F0178AAAAAAAA\r",
                                       "t7E88037F0111AAAAAAAA\r",
                                       "t7E980641000000000000\r",
                                       "T18DAF110806410098188001\r",
                                       "t7E88104141020000000\r",
                                       "t7E88100A419A06005780\r"};
  for (int round = 0; round < 60; ++round) {
    FakeVan van = started_van();
    van.plug_adapter();
    for (int i = 0; i < 400; ++i) {
      Bytes bytes(next() % 40);
      for (auto& b : bytes) b = static_cast<std::uint8_t>(next());
      if (next() % 3 != 0) {
        const std::string& line = lines[next() % lines.size()];
        bytes.assign(line.begin(), line.end());
      }
      const Tick now = van.now();
      van.logger().on_bytes(now, bytes);
      switch (next() % 12) {
        case 0:
          van.logger().on_card(now, {.ok = (next() & 1) != 0});
          break;
        case 1:
          van.logger().on_supply(now, static_cast<std::uint16_t>(next()));
          break;
        case 2:
          van.logger().on_adapter(now, (next() & 1) != 0 ? AdapterLink::up : AdapterLink::lost);
          break;
        case 3:
          van.fail_writes = static_cast<int>(next() % 5);
          break;
      }
      const int turns = van.turns;
      const Tick span = next() % 3'000;
      van.run_until(now + span);
      CHECK(van.turns - turns < 3'000);
    }
    CAPTURE(round);
    std::size_t requests = 0;
    std::size_t flow_controls = 0;
    for (const auto& [tick, line] : van.sent) {
      if (line.find("300000", 5) == 5 || line.find("300000", 10) == 10) ++flow_controls;
      if (line.find("80", 4) == 4 || line.find("80", 9) == 9) ++requests;
      const bool command =
          line == "C" || line == "O" || line == "L" || line == "S5" || line == "S6";
      const bool frame = line.starts_with("t7DF80") || line.starts_with("t7E") ||
                         line.starts_with("T18DB33F180") || line.starts_with("T18DA");
      CHECK((command || frame));
    }
    CHECK(flow_controls <= 8 * requests);
    for (const auto& one : van.sectors()) CHECK(one.record.parsed);
  }
}
