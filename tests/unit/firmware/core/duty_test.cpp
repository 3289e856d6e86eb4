// Duty: every way from one to the next.
#include "core/duty.hpp"

#include <doctest/doctest.h>

#include <vector>

using namespace packmile;

namespace {

constexpr Tick kDutyMinute = 60'000;

// A van that answers at 1 Hz.
struct Van {
  DutyJudge judge;
  Tick now = 0;
  int speed = 0;                    // -1: not answered
  std::int64_t odometer = 400'000;  // -1: not answered
  int soc = 100;                    // -1: not answered
  std::int64_t amps_raw = 5;        // -1: not answered
  std::int64_t volts_raw = -1;      // -1: not answered
  std::uint32_t support = 0x06;

  explicit Van(DutyStart start = DutyStart::life) { judge.restart(0, start); }

  void run(Tick ms) {
    for (const Tick until = now + ms; now < until;) {
      now += 1'000;
      std::vector<RawWord> words;
      if (amps_raw >= 0) {
        words.push_back({signal::pack_support, support});
        words.push_back({signal::pack_a, static_cast<std::uint32_t>(amps_raw)});
        if (volts_raw >= 0)
          words.push_back({signal::pack_v, static_cast<std::uint32_t>(volts_raw)});
      }
      if (speed >= 0) words.push_back({signal::speed_kmh, static_cast<std::uint32_t>(speed)});
      if (soc >= 0) words.push_back({signal::soc_pct, static_cast<std::uint32_t>(soc)});
      if (odometer >= 0)
        words.push_back({signal::odometer_km, static_cast<std::uint32_t>(odometer)});
      judge.on_words(now, words);
    }
  }
  // How long it takes from now until the van counts as parked; at most `most`.
  Tick parked_in(Tick most) {
    const Tick from = now;
    while (judge.duty() != Duty::parked && now - from < most) run(1'000);
    return now - from;
  }
  [[nodiscard]] Duty duty() const { return judge.duty(); }
};

// 7 kW at 350 V: 20 A into the pack, in both codings and both signs.
constexpr std::int64_t kCharging[] = {200, 0x10000 - 200, 0x8000 + 200, 0x8000 - 200};

}  // namespace

TEST_CASE("duty: driving until proven otherwise") {
  Van van;
  CHECK(van.duty() == Duty::driving);
  van.speed = 50;
  van.run(60 * kDutyMinute);
  CHECK(van.duty() == Duty::driving);
}

TEST_CASE("duty: idle for 5 min is parked, for 2 min where the supply is low") {
  for (const std::int64_t idle_raw : {0, 19, 0x10000 - 19, 0x8000, 0x8000 + 19, 0x8000 - 19}) {
    CAPTURE(idle_raw);
    Van van;
    van.amps_raw = idle_raw;
    CHECK(van.parked_in(kDutyMinute * 10) == 5 * kDutyMinute);
    Van high;
    high.amps_raw = idle_raw;
    high.judge.on_supply_low(0, false);
    CHECK(high.parked_in(kDutyMinute * 10) == 5 * kDutyMinute);
    Van low;
    low.amps_raw = idle_raw;
    low.judge.on_supply_low(0, true);
    CHECK(low.parked_in(kDutyMinute * 10) == 2 * kDutyMinute);
    // Low for two minutes, not only idle for two.
    Van fell;
    fell.amps_raw = idle_raw;
    fell.judge.on_supply_low(0, false);
    fell.run(2 * kDutyMinute);
    fell.judge.on_supply_low(fell.now, true);
    CHECK(fell.parked_in(kDutyMinute * 10) == 2 * kDutyMinute);
  }
}

TEST_CASE("duty: 2 A or more is not idle, in either coding") {
  for (const std::int64_t raw : {20, 0x10000 - 20, 0x8000 + 20, 0x8000 - 20, 3000}) {
    CAPTURE(raw);
    Van van;
    van.amps_raw = raw;
    van.run(30 * kDutyMinute);
    CHECK(van.duty() == Duty::driving);
  }
  // A current whose support bit is off means nothing.
  Van van;
  van.amps_raw = 3000;
  van.support = 0x02;
  van.run(31 * kDutyMinute);
  CHECK(van.duty() == Duty::parked);
}

TEST_CASE("duty: woken by its supply alone it is asked seldom, and parked after 5 min") {
  Van van(DutyStart::supply);
  van.run(kDutyMinute - 1'000);
  CHECK(van.duty() == Duty::driving);
  van.run(1'000);
  CHECK(van.duty() == Duty::standing);
  CHECK(van.parked_in(10 * kDutyMinute) == 4 * kDutyMinute);
  CHECK_FALSE(van.judge.life_seen());
  // Used meanwhile: no top-up.
  Van used(DutyStart::supply);
  used.run(30'000);
  used.speed = 10;
  used.run(1'000);
  used.speed = 0;
  used.run(4 * kDutyMinute);
  CHECK(used.duty() == Duty::driving);
  CHECK(used.judge.life_seen());
}

TEST_CASE("duty: motion or a load ends standing at once") {
  for (int sign = 0; sign < 3; ++sign) {
    Van van(DutyStart::supply);
    van.run(2 * kDutyMinute);
    REQUIRE(van.duty() == Duty::standing);
    if (sign == 0) van.speed = 1;
    if (sign == 1) van.odometer += 1;
    if (sign == 2) van.amps_raw = 30;
    van.run(1'000);
    CAPTURE(sign);
    CHECK(van.duty() == Duty::driving);
  }
}

TEST_CASE("duty: a current that nothing bears out does not keep a van awake for ever") {
  Van van;
  van.amps_raw = 25;  // a sensor that is off by 2.5 A
  CHECK(van.parked_in(120 * kDutyMinute) == doctest::Approx(35 * kDutyMinute).epsilon(0.001));
  // A heater that runs does: SoC falls by a code each ten minutes.
  Van heated;
  heated.amps_raw = 25;
  for (int i = 0; i < 12; ++i) {
    heated.run(10 * kDutyMinute);
    heated.soc -= 1;
    CHECK(heated.duty() == Duty::driving);
  }
  // Without a SoC it is believed longer.
  Van blind;
  blind.soc = -1;
  blind.amps_raw = 100;
  CHECK(blind.parked_in(20 * 60 * kDutyMinute) == doctest::Approx(65 * kDutyMinute).epsilon(0.001));
}

TEST_CASE("duty: without a SoC a rising voltage bears a charge out, a steady or falling one not") {
  // 2 kW into 50 kWh of flat cells: 0.56 V an hour, 1/64 V each 100 s.
  Van charge;
  charge.soc = -1;
  charge.amps_raw = 0x10000 - 57;
  charge.volts_raw = 350 * 64;
  for (int i = 0; i < 12 * 36; ++i) {
    charge.run(100'000);
    charge.volts_raw += 1;
    REQUIRE(charge.duty() == Duty::driving);
  }
  Van load = charge;
  for (int i = 0; i < 36 && load.duty() != Duty::parked; ++i) {
    load.run(200'000);
    load.volts_raw -= 1;
  }
  CHECK(load.duty() == Duty::parked);
  // A voltage that is not supported bears nothing out.
  Van unsupported;
  unsupported.soc = -1;
  unsupported.support = 0x04;
  unsupported.amps_raw = 100;
  unsupported.volts_raw = 350 * 64;
  for (int i = 0; i < 12 && unsupported.duty() != Duty::parked; ++i) {
    unsupported.run(10 * kDutyMinute);
    unsupported.volts_raw += 64;
  }
  CHECK(unsupported.duty() == Duty::parked);
  CHECK(unsupported.now <= 70 * kDutyMinute);
}

TEST_CASE("duty: the current of a van that was parked in spite of it is doubted") {
  const auto parked_with_current = [] {
    Van van;
    van.soc = -1;
    van.amps_raw = 25;
    van.volts_raw = 350 * 64;
    van.run(90 * kDutyMinute);
    REQUIRE(van.duty() == Duty::parked);
    return van;
  };
  const std::vector<RawWord> flows{{signal::pack_support, 0x06}, {signal::pack_a, 25}};
  {
    Van van = parked_with_current();
    CHECK_FALSE(van.judge.shows_life(flows));
    // Woken by something else: parked after 5 min, and that was no use.
    van.judge.restart(van.now, DutyStart::life);
    CHECK(van.parked_in(120 * kDutyMinute) == 5 * kDutyMinute);
    CHECK_FALSE(van.judge.life_seen());
    CHECK_FALSE(van.judge.shows_life(flows));
  }
  // Until something bears it out, or it is seen to be less.
  for (int sign = 0; sign < 5; ++sign) {
    CAPTURE(sign);
    Van van = parked_with_current();
    van.judge.restart(van.now, DutyStart::life);
    van.run(1'000);
    if (sign == 0) van.speed = 30;
    if (sign == 1) van.odometer += 1;
    if (sign == 2) van.volts_raw += 32;
    if (sign == 3) van.amps_raw = 5;
    if (sign == 4) van.soc = 90;
    van.run(1'000);
    if (sign == 4) van.soc = 91;
    van.speed = 0;
    van.amps_raw = 25;
    van.run(10 * kDutyMinute);
    CHECK(van.duty() == Duty::driving);
    CHECK(van.judge.shows_life(flows));
  }
}

TEST_CASE("duty: what a single probe says about a parked van") {
  const auto words = [](SignalId id, std::uint32_t word) {
    return std::vector<RawWord>{{signal::pack_support, 0x06}, {id, word}};
  };
  Van van;
  van.run(10 * kDutyMinute);
  REQUIRE(van.duty() == Duty::parked);
  const DutyJudge& judge = van.judge;
  CHECK_FALSE(judge.shows_life({}));
  CHECK_FALSE(judge.shows_life(words(signal::speed_kmh, 0)));
  CHECK(judge.shows_life(words(signal::speed_kmh, 1)));
  CHECK_FALSE(judge.shows_life(words(signal::odometer_km, 400'000)));
  CHECK(judge.shows_life(words(signal::odometer_km, 400'001)));
  CHECK_FALSE(judge.shows_life(words(signal::soc_pct, 101)));
  CHECK_FALSE(judge.shows_life(words(signal::soc_pct, 90)));
  CHECK(judge.shows_life(words(signal::soc_pct, 102)));
  CHECK_FALSE(judge.shows_life(words(signal::pack_a, 0x8013)));
  CHECK(judge.shows_life(words(signal::pack_a, 0x8014)));
  CHECK(judge.shows_life(words(signal::pack_a, 0xFFEC)));
  const std::vector<RawWord> unsupported{{signal::pack_support, 0x02}, {signal::pack_a, 3000}};
  CHECK_FALSE(judge.shows_life(unsupported));
}

TEST_CASE("duty: SoC that rises by two codes at standstill is a charge") {
  for (const std::int64_t raw : kCharging) {
    Van van;
    van.speed = 40;
    van.run(kDutyMinute);
    van.speed = 0;
    van.amps_raw = raw;
    van.run(kDutyMinute);
    van.soc += 1;
    van.run(kDutyMinute);
    CHECK(van.duty() == Duty::driving);
    van.soc += 1;
    van.run(1'000);
    CHECK(van.duty() == Duty::charging);
    CHECK(van.judge.pack_burst(van.now));
    van.run(2 * kDutyMinute);
    CHECK_FALSE(van.judge.pack_burst(van.now));
    // A step of more than 2 A: two minutes again.
    van.amps_raw -= 21;
    van.run(1'000);
    CHECK(van.judge.pack_burst(van.now));
    van.run(3 * kDutyMinute);
    CHECK_FALSE(van.judge.pack_burst(van.now));
    van.amps_raw += 20;
    van.run(1'000);
    CHECK_FALSE(van.judge.pack_burst(van.now));
    // The taper is part of it down to half an ampere; what the van draws itself
    // is not. Then it is parked.
    const std::int64_t zero = raw >= 0x8000 - 200 && raw <= 0x8000 + 200 ? 0x8000 : 0;
    const bool upwards = raw == 200 || raw == 0x8000 + 200;
    const auto flowing = [&](std::int64_t codes) { return (zero + codes + 0x10000) % 0x10000; };
    van.amps_raw = flowing(upwards ? 5 : -5);
    van.run(15 * kDutyMinute);
    CHECK(van.duty() == Duty::charging);
    van.amps_raw = flowing(upwards ? -5 : 5);
    CHECK(van.parked_in(30 * kDutyMinute) == 5 * kDutyMinute);
  }
}

TEST_CASE("duty: a rise while moving is braking, not charging") {
  Van van;
  van.speed = 60;
  for (int i = 0; i < 10; ++i) {
    van.soc += 1;
    van.run(kDutyMinute);
    CHECK(van.duty() == Duty::driving);
  }
  // It may show after the stop, and in a step of 1 %; a charge goes on.
  Van stopped;
  stopped.speed = 40;
  stopped.run(kDutyMinute);
  stopped.speed = 0;
  stopped.run(20'000);
  stopped.soc += 3;
  stopped.run(2 * kDutyMinute);
  CHECK(stopped.duty() == Duty::driving);
  stopped.soc += 3;
  stopped.run(1'000);
  CHECK(stopped.duty() == Duty::charging);
  // Nor is it one where nothing tells motion from standing.
  Van blind;
  blind.speed = -1;
  blind.odometer = -1;
  blind.amps_raw = 300;
  blind.soc += 5;
  blind.run(kDutyMinute);
  blind.soc += 5;
  blind.run(kDutyMinute);
  CHECK(blind.duty() == Duty::driving);
}

TEST_CASE("duty: a charge ends by motion, or by SoC falling two codes") {
  const auto charging = [] {
    Van van;
    van.amps_raw = 200;
    van.run(kDutyMinute);
    van.soc += 2;
    van.run(kDutyMinute);
    REQUIRE(van.duty() == Duty::charging);
    return van;
  };
  Van moved = charging();
  moved.speed = 1;
  moved.run(1'000);
  CHECK(moved.duty() == Duty::driving);
  Van fell = charging();
  fell.soc -= 1;
  fell.run(kDutyMinute);
  CHECK(fell.duty() == Duty::charging);
  fell.soc -= 1;
  fell.run(1'000);
  CHECK(fell.duty() == Duty::driving);
  // An odometer that catches up late is no motion where speed says 0.
  Van late = charging();
  late.odometer += 1;
  late.run(1'000);
  CHECK(late.duty() == Duty::charging);
}

TEST_CASE("duty: without speed the odometer tells") {
  Van van;
  van.speed = -1;
  van.amps_raw = 200;
  van.run(kDutyMinute);
  van.soc += 2;
  van.run(kDutyMinute);
  CHECK(van.duty() == Duty::charging);
  van.odometer += 1;
  van.run(1'000);
  CHECK(van.duty() == Duty::driving);
}

TEST_CASE("duty: a van that answers neither speed, odometer nor current is let go after 15 min") {
  Van van;
  van.speed = -1;
  van.odometer = -1;
  van.amps_raw = -1;
  CHECK(van.parked_in(60 * kDutyMinute) == 15 * kDutyMinute);
}

TEST_CASE("duty: parked ends by restart alone, which is like new") {
  Van van;
  van.run(6 * kDutyMinute);
  REQUIRE(van.duty() == Duty::parked);
  van.speed = 50;
  van.run(1'000);
  CHECK(van.duty() == Duty::parked);
  van.judge.restart(van.now, DutyStart::life);
  CHECK(van.duty() == Duty::driving);
  van.speed = 0;
  CHECK(van.parked_in(30 * kDutyMinute) == 5 * kDutyMinute);
}

// A code in under 30 s is a fast charge; the odometer's first 2 km.
TEST_CASE("duty: fast SoC and fine odometer") {
  Van van;
  van.amps_raw = 1'000;
  van.run(kDutyMinute);
  CHECK_FALSE(van.judge.soc_fast(van.now));
  for (int i = 0; i < 5; ++i) {
    van.soc += 1;
    van.run(20'000);
  }
  CHECK(van.judge.soc_fast(van.now));
  van.run(20'000);
  CHECK_FALSE(van.judge.soc_fast(van.now));
  for (int i = 0; i < 5; ++i) {
    van.soc += 1;
    van.run(40'000);
  }
  CHECK_FALSE(van.judge.soc_fast(van.now));

  Van trip;
  trip.speed = 30;
  for (int i = 0; i < 19; ++i) {
    trip.odometer += 1;
    trip.run(12'000);
  }
  CHECK(trip.judge.odometer_fine());
  trip.odometer += 2;
  trip.run(1'000);
  CHECK_FALSE(trip.judge.odometer_fine());
  trip.speed = 0;
  trip.amps_raw = 50;  // heated, not parked
  trip.run(4 * kDutyMinute);
  trip.speed = 30;
  trip.run(1'000);
  CHECK_FALSE(trip.judge.odometer_fine());
  trip.speed = 0;
  trip.run(10 * kDutyMinute);
  trip.speed = 30;
  trip.run(1'000);
  CHECK(trip.judge.odometer_fine());
}
