// class Logger on the bus: listening, asking, leaving alone, coming back.
#include "core/logger.hpp"

#include <doctest/doctest.h>

#include <map>

#include "fake_van.hpp"

using namespace packmile;
using namespace packmile::test;

TEST_CASE("logger: it listens before it asks, and asks at the rate that gave frames") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.say(500, "e1f\r");  // form errors at 500 kbit/s
  van.run_until(450);
  CHECK(van.count_sent(0, 450, "t") == 0);
  van.run_until(700);
  van.say(100, "t1238DEADBEEF00000000\r");  // clean at 250
  van.run_until(5'000);
  std::vector<std::string> commands;
  for (const auto& [tick, line] : van.sent)
    if (line[0] != 't' && line[0] != 'T') commands.push_back(line);
  CHECK(commands ==
        std::vector<std::string>{"C", "C", "C", "C", "S6", "L", "C", "S5", "L", "C", "S5", "O"});
  CHECK(van.logger().light() == Light::recording);
  van.stop();
  CHECK(van.sent.back().second == "C");
  std::uint32_t kbit = 0;
  for (const auto& one : van.sectors())
    if (one.record.session.kbit_per_s != 0) kbit = one.record.session.kbit_per_s;
  CHECK(kbit == 250);
}

TEST_CASE("logger: errors at both rates: nothing is sent") {
  FakeVan van = started_van();
  van.plug_adapter();
  for (int i = 0; i < 20'000 / 250; ++i) van.say(static_cast<Tick>(i) * 250 + 100, "e1f\r");
  van.run_until(10'000);
  CHECK(van.count_sent(0, 10'000, "t") == 0);
  CHECK(van.count_sent(0, 10'000, "T") == 0);
}

TEST_CASE("logger: a silent bus gets one attempt at each rate, then less and less") {
  FakeVan van = started_van();
  van.acknowledged = false;
  van.plug_adapter();
  van.run_until(24 * 3'600'000);
  std::vector<Tick> asked;
  for (const auto& [tick, line] : van.sent)
    if (line.starts_with("t")) asked.push_back(tick);
  REQUIRE(asked.size() > 4);
  // Unacknowledged: closed within 100 ms and some, at 500 and at 250 kbit/s.
  for (std::size_t i = 0; i < van.sent.size(); ++i) {
    if (!van.sent[i].second.starts_with("t")) continue;
    REQUIRE(i + 1 < van.sent.size());
    CHECK(van.sent[i + 1].second == "C");
    CHECK(van.sent[i + 1].first - van.sent[i].first <= 100);
  }
  // 10 s doubling: 13 rounds take a day, each of two requests.
  CHECK(asked.size() <= 2 * 14);
  CHECK(asked.size() >= 2 * 12);
  CHECK(van.logger().light() == Light::waiting);
  // The van wakes, and its traffic ends the waiting.
  van.acknowledged = true;
  van.say(10, "t1238DEADBEEF00000000\r");
  van.say(300, "t1238DEADBEEF00000000\r");
  van.run_until(van.now() + 10'000);
  CHECK(van.logger().light() == Light::recording);
}

TEST_CASE("logger: a van that falls asleep is left alone, it comes back without discovery") {
  FakeVan van = started_van();
  van.logger().on_supply(0, 14'200);
  van.plug_adapter();
  van.run_until(30'000);
  REQUIRE(van.logger().light() == Light::recording);
  const std::size_t discovery = van.count_sent(0, 30'000, "t7DF");
  van.awake = false;  // frames are still acknowledged, nobody answers
  van.logger().on_supply(30'000, 12'600);
  van.run_until(45'000);
  CHECK(van.logger().light() == Light::waiting);
  // Nothing goes out 10 s and a bit after the last answer, for a quarter of an hour.
  CHECK(van.count_sent(40'500, 930'000, "t") == 0);
  van.run_until(930'000);
  CHECK(van.count_sent(40'500, 930'000, "t") == 0);
  const std::size_t day = 24 * 3'600'000;
  van.run_until(40'000 + day);
  CHECK(van.count_sent(41'000, 40'000 + day, "t") <= 4);
  CHECK(van.count_sent(41'000, 40'000 + day, "t") >= 3);
  // The supply rises: asked again at once.
  van.awake = true;
  const Tick woken = van.now();
  van.logger().on_supply(woken, 14'200);
  van.run_until(woken + 5'000);
  CHECK(van.logger().light() == Light::recording);
  CHECK(van.count_sent(0, van.now(), "t7DF") == discovery);
  std::size_t speeds = 0;
  van.stop();
  for (const auto& one : van.samples(signal::speed_kmh))
    if (one.tick_ms > woken) ++speeds;
  CHECK(speeds >= 20);
}

TEST_CASE("logger: silent with the supply high: 1, 2, 4, 8, then every 10 s") {
  FakeVan van = started_van();
  van.logger().on_supply(0, 14'200);
  van.plug_adapter();
  van.run_until(30'000);
  van.awake = false;
  van.run_until(120'000);
  std::vector<Tick> probes;
  for (const auto& [tick, line] : van.sent)
    if (tick > 41'000 && line.starts_with("t")) probes.push_back(tick);
  REQUIRE(probes.size() > 6);
  CHECK(probes.size() < 14);
  for (std::size_t i = 5; i < probes.size(); ++i)
    CHECK(probes[i] - probes[i - 1] == doctest::Approx(10'000).epsilon(0.05));
  for (const auto& [tick, line] : van.sent)
    // Single frames with current and speed in them.
    if (tick > 41'000 && line.starts_with("t")) CHECK(line.starts_with("t7E0803019A0D"));
}

TEST_CASE("logger: a frame that nobody acknowledges closes the adapter within 100 ms") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(30'000);
  van.acknowledged = false;
  van.run_until(31'000);
  bool closed = false;
  for (std::size_t i = 0; i + 1 < van.sent.size(); ++i) {
    if (van.sent[i].first < 30'000 || !van.sent[i].second.starts_with("t")) continue;
    CHECK(van.sent[i + 1].second == "C");
    CHECK(van.sent[i + 1].first - van.sent[i].first <= 101);
    closed = true;
  }
  CHECK(closed);
  // A hiccup only: the next attempt, a second later, finds the van awake.
  van.acknowledged = true;
  van.run_until(40'000);
  CHECK(van.logger().light() == Light::recording);
  // And for good: a few attempts, then silence.
  van.acknowledged = false;
  van.run_until(50'000);
  CHECK(van.count_sent(50'000, 900'000, "t") == 0);
  van.run_until(900'000);
  CHECK(van.count_sent(50'000, 900'000, "t") == 0);
}

TEST_CASE("logger: an adapter that never confirms does not stall, and still stops in time") {
  FakeVan van = started_van();
  van.confirms = false;
  van.plug_adapter();
  van.run_until(40'000);
  CHECK(van.logger().light() == Light::adapter_trouble);  // it never said a word of its own
  CHECK(van.samples(signal::speed_kmh).size() > 100);
  van.awake = false;
  van.run_until(60'000);
  CHECK(van.count_sent(60'000, 600'000, "t") == 0);
  van.run_until(600'000);
  CHECK(van.count_sent(60'000, 600'000, "t") == 0);
}

TEST_CASE("logger: confirmations that come late or after the answer cost nothing") {
  for (const Tick late : {0u, 4u, 6u, 30u, 90u}) {
    FakeVan van = started_van();
    van.confirm_after_ms = late;
    van.plug_adapter();
    van.run_until(30'000);
    van.stop();
    CAPTURE(late);
    const auto speed = van.samples(signal::speed_kmh);
    REQUIRE(speed.size() > 110);
    CHECK(van.logger().counters().timeouts <= 1);
  }
}

TEST_CASE("logger: an adapter unplugged and back is opened from the start, the map is kept") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(30'000);
  const std::size_t discovery = van.count_sent(0, 30'000, "t7DF");
  van.unplug_adapter();
  CHECK(van.logger().light() == Light::adapter_trouble);
  van.run_until(60'000);
  CHECK(van.count_sent(30'001, 60'000, "") == 0);
  van.plug_adapter();
  const std::size_t before = van.sent.size();
  van.run_until(70'000);
  CHECK(van.logger().light() == Light::recording);
  CHECK(van.logger().counters().adapter_reopened == 1);
  CHECK(van.count_sent(0, 70'000, "t7DF") == discovery);
  REQUIRE(van.sent.size() > before);
  // Samples go on under the same boot.
  van.stop();
  const auto speed = van.samples(signal::speed_kmh);
  CHECK(speed.back().tick_ms > 69'000);
  for (const auto& one : van.sectors())
    CHECK(one.header.boot_id == van.sectors()[0].header.boot_id);
}

TEST_CASE("logger: a link that goes away in the middle of anything comes back") {
  for (Tick cut = 0; cut < 6'000; cut += 37) {
    FakeVan van = started_van();
    van.plug_adapter();
    van.run_until(cut);
    van.unplug_adapter();
    van.run_until(cut + 500);
    van.plug_adapter();
    van.run_until(cut + 15'000);
    CAPTURE(cut);
    CHECK(van.logger().light() == Light::recording);
  }
}

TEST_CASE("logger: another tester on the bus: silent for 10 min") {
  for (const char* line : {"t7DF802010CCCCCCCCCCC\r", "t7E3802010CCCCCCCCCCC\r",
                           "T18DB33F1802010CCCCCCCCCCC\r", "T18DA10F1802010CCCCCCCCCCC\r"}) {
    FakeVan van = started_van();
    van.plug_adapter();
    van.run_until(30'000);
    van.say(5, line);
    van.say(50, line);
    van.run_until(30'200);
    CAPTURE(line);
    CHECK(van.logger().counters().foreign_tester_events == 1);
    CHECK(van.count_sent(30'010, 30'000 + 600'000, "t") == 0);
    van.run_until(30'000 + 590'000);
    CHECK(van.count_sent(30'010, 30'000 + 590'000, "t") == 0);
    van.run_until(30'000 + 610'000);
    CHECK(van.logger().light() == Light::recording);
  }
}

TEST_CASE("logger: below 12.2 V nothing is sent") {
  FakeVan van = started_van();
  van.logger().on_supply(0, 12'800);
  van.plug_adapter();
  van.run_until(30'000);
  van.logger().on_supply(30'000, 12'100);
  van.run_until(39'000);
  CHECK(van.logger().light() == Light::recording);  // a dip is borne
  van.run_until(41'000);
  CHECK(van.logger().light() == Light::waiting);
  van.run_until(3 * 24 * 3'600'000ull);
  CHECK(van.count_sent(41'000, van.now(), "t") == 0);
}

TEST_CASE("logger: a parked van is let go after 5 min, and probed at most four times a day") {
  FakeVan van(32 + 4096);
  van.ecus = plain_van();
  van.ecus[0].pids[0x0D] = constant({0x00});
  van.ecus[0].pids[0x9A] = constant(pack_data(0x5780, 0x0005));
  van.power_up();
  van.plug_adapter();
  const Tick parked = 6 * 60'000;
  van.run_until(parked);
  CHECK(van.logger().light() == Light::waiting);
  const std::size_t asked_driving = van.count_sent(5'000, 4 * 60'000, "t7E0803019A0D");
  CHECK(asked_driving == doctest::Approx(235 * 5).epsilon(0.02));
  van.run_until(parked + 19 * 60'000);
  CHECK(van.count_sent(parked, parked + 19 * 60'000, "t") == 0);
  const Tick day = 24 * 3'600'000;
  van.run_until(parked + 3 * day);
  // Awake as it is, the van answers each probe, and is left alone again.
  std::vector<Tick> probes;
  for (const auto& [tick, line] : van.sent)
    if (tick > parked && line.starts_with("t7E0803019A0D")) probes.push_back(tick);
  CHECK(probes.size() >= 10);
  CHECK(probes.size() <= 12);
  for (std::size_t i = 1; i < probes.size(); ++i) CHECK(probes[i] - probes[i - 1] >= 15 * 60'000);
  for (std::size_t i = 4; i < probes.size(); ++i) CHECK(probes[i] - probes[i - 4] >= day);
  CHECK(van.logger().counters().requests_while_parked == probes.size());
  // What a probe heard is kept like any answer.
  van.run_until(van.now() + 60'000);
  std::size_t kept = 0;
  for (const DecodedSample& one : van.samples(signal::pack_a))
    if (one.tick_ms > parked) ++kept;
  CHECK(kept == probes.size());
  // Nothing else was sent but the flow control of their answers.
  CHECK(van.count_sent(parked, van.now(), "t") == 2 * probes.size());
  // Traffic after the bus was quiet: polled again at once.
  van.say(10, "t1238DEADBEEF00000000\r");
  const Tick woken = van.now();
  van.run_until(woken + 2'000);
  CHECK(van.count_sent(woken, woken + 2'000, "t7E0") > 5);
}

TEST_CASE("logger: a probe whose answer shows use is followed by polling") {
  FakeVan van(32 + 4096);
  van.ecus = plain_van();
  van.ecus[0].pids[0x0D] = [](Tick t) {
    return Bytes{static_cast<std::uint8_t>(t < 20 * 60'000 ? 0 : 40)};
  };
  van.ecus[0].pids[0x9A] = constant(pack_data(0x5780, 0x0005));
  van.power_up();
  van.plug_adapter();
  van.run_until(25 * 60'000);
  CHECK(van.logger().light() == Light::waiting);
  van.run_until(26 * 60'000);
  CHECK(van.logger().light() == Light::recording);
  CHECK(van.count_sent(26 * 60'000 - 10'000, 26 * 60'000, "t7E0803019A0D") > 40);
}

TEST_CASE("logger: with the supply low a van that stands is let go after 2 min") {
  FakeVan van = started_van();
  van.ecus[0].pids[0x0D] = constant({0x00});
  van.ecus[0].pids[0x9A] = constant(pack_data(0x5780, 0x0005));
  van.logger().on_supply(0, 12'700);
  van.plug_adapter();
  van.run_until(115'000);
  CHECK(van.logger().light() == Light::recording);
  van.run_until(130'000);
  CHECK(van.logger().light() == Light::waiting);
}

TEST_CASE("logger: below the level of a lithium battery nothing is sent") {
  FakeVan van(32 + 4096);
  van.ecus = plain_van();
  van.prepare({.van = "heron", .battery = 1});
  van.power_up();
  van.logger().on_supply(0, 12'800);
  van.plug_adapter();
  van.run_until(600'000);
  CHECK(van.count_sent(0, van.now(), "t") == 0);
  van.logger().on_supply(van.now(), 13'000);
  van.run_until(700'000);
  CHECK(van.count_sent(600'000, van.now(), "t") > 0);
}

// A network that wakes by itself each hour, as some do, answers, and sleeps.
TEST_CASE("logger: a van that wakes for nothing is not kept awake each time") {
  FakeVan van(32 + 4096);
  van.ecus = plain_van();
  van.ecus[0].pids[0x0D] = constant({0x00});
  van.ecus[0].pids[0x9A] = constant(pack_data(0x5780, 0x0005));
  van.power_up();
  van.plug_adapter();
  const Tick hour = 3'600'000;
  std::vector<std::size_t> asked;
  for (Tick at = hour; at <= 24 * hour; at += hour) {
    van.run_until(at);
    const std::size_t before = van.count_sent(0, van.now() + 1, "t7E0803019A0D");
    van.say(10, "t1238DEADBEEF00000000\r");
    van.run_until(at + hour / 2);
    asked.push_back(van.count_sent(0, van.now() + 1, "t7E0803019A0D") - before);
  }
  // Five minutes of polling the first times (once before, when it was found),
  // then single probes.
  CHECK(asked[0] > 1'000);
  CHECK(asked[1] > 1'000);
  for (std::size_t i = 2; i < asked.size(); ++i) CHECK(asked[i] <= 12);
  CHECK(van.logger().counters().requests_while_parked <= 60 + 10);
}

TEST_CASE("logger: a charge is followed at its own schedule") {
  FakeVan van(32 + 4096);
  van.ecus = plain_van();
  van.ecus[0].pids[0x0D] = constant({0x00});
  van.ecus[0].pids[0x9A] = constant(pack_data(0x5780, 0xFF38));
  // A code each two minutes: 7 kW into 60 kWh.
  van.ecus[0].pids[0x5B] = [](Tick t) {
    return Bytes{static_cast<std::uint8_t>(100 + t / 120'000)};
  };
  van.power_up();
  van.plug_adapter();
  van.run_until(60 * 60'000);
  van.stop();
  CHECK(van.logger().counters().dropped_samples == 0);
  std::map<std::uint32_t, std::size_t> by_period;
  for (const auto& one : van.samples(signal::pack_a))
    if (one.tick_ms > 20 * 60'000) ++by_period[one.period_ms];
  CHECK(by_period.size() == 1);
  CHECK(by_period[5'000] == doctest::Approx(40 * 12).epsilon(0.02));
  // The first two minutes of the charge at 1 Hz.
  std::size_t burst = 0;
  for (const auto& one : van.samples(signal::pack_a))
    if (one.period_ms == 1'000) ++burst;
  CHECK(burst == doctest::Approx(120).epsilon(0.05));
  // 10 s between SoC readings: its edges are what capacity rests on.
  std::size_t soc = 0;
  for (const auto& one : van.samples(signal::soc_pct))
    if (one.tick_ms > 20 * 60'000) ++soc;
  CHECK(soc == doctest::Approx(40 * 6).epsilon(0.02));
}

TEST_CASE("logger: an ECU that answers one PID at a time is asked one at a time") {
  FakeVan van = started_van();
  van.ecus[0].answers_multiple = false;
  van.plug_adapter();
  van.run_until(60'000);
  van.stop();
  CHECK(van.samples(signal::pack_v).size() > 100);
  CHECK(van.samples(signal::speed_kmh).size() > 100);
  CHECK(van.samples(signal::soc_pct).size() > 3);
}

TEST_CASE("logger: a refused PID does not take its neighbour away") {
  FakeVan van = started_van();
  van.ecus[0].refuses_pid = 0x5B;
  van.plug_adapter();
  van.run_until(60'000);
  van.stop();
  CHECK(van.samples(signal::soc_pct).empty());
  CHECK(van.samples(signal::module_v).size() > 8);
  CHECK(van.count_sent(30'000, 60'000, "t7E0802015B") == 0);
  CHECK(van.logger().counters().negative_responses == 3);
}

TEST_CASE("logger: response pending is waited for") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(10'000);
  van.awake = false;
  van.run_until(10'150);  // one request is out by now
  van.say(20, "t7E88037F0178AAAAAAAA\r");
  van.run_until(10'160);
  const auto asked = van.count_sent(0, van.now() + 1, "t7E0");
  van.run_until(15'000);
  CHECK(van.logger().counters().pending_responses == 1);
  CHECK(van.count_sent(0, van.now(), "t7E0") <= asked + 1);
  van.say(1, "t7E88100A419A06005780\r");
  van.say(5, "t7E882100FA0D32AAAAAA\r");
  van.awake = true;
  van.run_until(16'000);
  CHECK(van.logger().light() == Light::recording);
  CHECK(van.count_sent(15'000, 16'000, "t7E0803019A0D") + van.count_sent(15'000, 16'000, "t7E0") >
        4);
}

TEST_CASE("logger: 29-bit ECUs are found and asked the same way") {
  FakeVan van = started_van();
  van.ecus[0].response_id = 0x18DAF110;
  van.ecus[1].response_id = 0x18DAF117;
  van.plug_adapter();
  van.run_until(30'000);
  van.stop();
  CHECK(van.samples(signal::pack_v).size() > 100);
  bool extended = false;
  for (const auto& one : van.sectors()) {
    extended = extended || one.record.session.extended_ids;
    for (const auto& sample : one.record.samples) CHECK(sample.ecu == 0x18DAF110);
  }
  CHECK(extended);
  CHECK(van.logger().counters().refused_transmits == 0);
}

TEST_CASE("logger: an ECU that answers late is waited for longer, and heard") {
  for (const Tick answer_ms : {149u, 160u, 500u, 900u}) {
    CAPTURE(answer_ms);
    FakeVan van = started_van();
    van.answer_after_ms = answer_ms;
    van.plug_adapter();
    van.run_until(120'000);
    const LoggerCounters before = van.logger().counters();
    const std::uint32_t wait_ms = answer_ms < 150 ? 0 : answer_ms < 600 ? 600 : 1200;
    CHECK(before.reply_wait_ms == wait_ms);
    // Once that is known, nothing is lost any more.
    van.run_until(180'000);
    CHECK(van.logger().counters().timeouts == before.timeouts);
    CHECK(van.logger().counters().late_answers == before.late_answers);
    van.stop();
    CHECK(van.samples(signal::pack_a).size() >= 180'000 / (answer_ms + 10) / 5);
  }
}

TEST_CASE("logger: an ECU that never answers in time is given up, and asked no faster") {
  FakeVan van = started_van();
  van.answer_after_ms = 2'000;
  van.plug_adapter();
  van.run_until(60'000);
  CHECK(van.samples(signal::pack_a).empty());
  // Twice the requests of each of the four waits, at most.
  CHECK(van.count_sent(0, 60'000, "t7DF") + van.count_sent(0, 60'000, "t7E") < 80);
}

TEST_CASE("logger: an ECU that becomes slow while it is polled is waited for longer") {
  FakeVan van = started_van();
  van.plug_adapter();
  van.run_until(20'000);
  CHECK(van.logger().counters().reply_wait_ms == 0);
  van.answer_after_ms = 400;
  van.run_until(40'000);
  CHECK(van.logger().counters().reply_wait_ms == 600);
  const std::uint32_t timeouts = van.logger().counters().timeouts;
  van.run_until(60'000);
  CHECK(van.logger().counters().timeouts == timeouts);
  // One that is lost now and then changes nothing.
  FakeVan quick = started_van();
  quick.plug_adapter();
  for (Tick at = 10'000; at < 40'000; at += 3'000) {
    quick.run_until(at);
    quick.awake = false;
    quick.run_until(at + 300);
    quick.awake = true;
  }
  CHECK(quick.logger().counters().timeouts > 5);
  CHECK(quick.logger().counters().reply_wait_ms == 0);
}
