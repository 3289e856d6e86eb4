// Owner's signals have steps of their own: the same day told in finer and in
// coarser steps gives the same story.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "energy/integrate.hpp"
#include "energy/pack_energy.hpp"
#include "energy/swings.hpp"
#include "host/energy/van_scene.hpp"

namespace packmile {

using testing::account_of;
using testing::add_pack_row;
using testing::add_sample;
using testing::agreed_reading;
using testing::has;
using testing::nominal;
using testing::Scene;

namespace {

// The state of charge of an episode in steps of another size; every third answer
// is a step low where `noisy`.
Episode in_steps(Episode episode, double step_pct, bool noisy = false) {
  for (std::size_t i = 0; i < episode.soc.raw.size(); ++i) {
    const double pct = episode.soc.raw[i] * episode.soc_step_pct;
    const auto steps = static_cast<std::uint32_t>(std::lround(pct / step_pct));
    episode.soc.raw[i] = steps - (noisy && i % 3 == 1 ? 1 : 0);
  }
  episode.soc_step_pct = step_pct;
  return episode;
}

Episode drive_and_charge(bool pack) {
  Scene scene;
  scene.pack = pack;
  return scene.stretch(300, 0, 0.4)
      .stretch(3600, 60, 8)
      .stretch(600, 0, 0.4)
      .stretch(3 * 3600, 0, -7)
      .stretch(300, 0, 0)
      .take();
}

double systematic_kwh(double a_step_a, double v_step_v, double low_a, double high_a) {
  Episode episode;
  for (int s = 0; s <= 600; ++s)
    add_pack_row(episode, s * 1000, 400, s / 20 % 2 == 0 ? low_a : high_a, 1000);
  episode.pack.a_step_a = a_step_a;
  episode.pack.v_step_v = v_step_v;
  PackDecoder decoder;
  const PackReading reading = agreed_reading();
  const PackRows rows = decoder.decode(episode.pack, &reading);
  PowerIntegral integral;
  integral.add(rows, 0, rows.size() - 1, 2.5, nullptr);
  EnergyRules rules;
  rules.current_gain_u = rules.voltage_gain_u = rules.offset_u_a = 0;
  const Figure f = integral.net_figure_kwh(rules);
  const double random = f.scatter / kZ95;
  const double all = (f.high - f.low) / 2 / kZ95;
  return std::sqrt(std::fmax(0, all * all - random * random));
}

}  // namespace

TEST_CASE("native steps: thresholds are per cent, and two steps at least") {
  CHECK(soc_steps(kSocStepPct, 2, 2) == 2);
  CHECK(soc_steps(kSocStepPct, 8, 2) == 8);
  CHECK(soc_steps(0.1, 2, 2) == 8);  // 0.784 %
  CHECK(soc_steps(0.5, 4, 2) == 4);  // 1.569 %
  CHECK(soc_steps(1, 2, 2) == 2);
  CHECK(soc_steps(5, 8, 2) == 2);
  CHECK(soc_full(0.1) == 1000);
  CHECK(soc_full(kSocStepPct) == 255);
}

TEST_CASE("native steps: a charge seen in the state of charge alone is one session") {
  const Episode standard = drive_and_charge(false);
  for (const bool noisy : {false, true}) {
    for (const double step_pct : {0.1, 0.5, 1.0, 2.0}) {
      if (noisy && step_pct > 0.1) continue;  // noise of a whole step is a fall there
      CAPTURE(step_pct);
      CAPTURE(noisy);
      const VanFigures figures = account_of({in_steps(standard, step_pct, noisy)}, nominal(51));
      REQUIRE(figures.trips.size() == 1);
      REQUIRE(figures.sessions.size() == 1);
      const ChargeSession& session = figures.sessions[0];
      // 21 kWh of 51 are 41.2 %; the first step may be half an hour in.
      REQUIRE(session.pack_kwh.figure.has_value());
      CHECK(std::abs(session.pack_kwh.figure->value - 21) <= 51 * 2 * step_pct / 100 + 0.2);
      CHECK(session.pack_kwh.figure->low < 21);
      CHECK(session.pack_kwh.figure->high > 21);
      const Trip& trip = figures.trips[0];
      CHECK(trip.soc_step_pct == step_pct);
      REQUIRE(trip.soc_start_pct.has_value());
      CHECK(std::abs(*trip.soc_start_pct - 150 * kSocPctPerCode) <= step_pct + 0.5);
      REQUIRE(trip.net_kwh.figure.has_value());
      CHECK(std::abs(trip.net_kwh.figure->value - 8.03) <= 51 * step_pct / 100 + 0.25);
    }
  }
}

TEST_CASE("native steps: the sign of the current is told by any step") {
  for (const double step_pct : {0.1, 0.5, 1.0}) {
    CAPTURE(step_pct);
    PackEvidence evidence;
    evidence.observe(in_steps(drive_and_charge(true), step_pct, step_pct < 0.2));
    const auto readings = evidence.decide();
    REQUIRE(readings.size() == 1);
    CHECK(readings[0].verdict == CurrentVerdict::agreed);
    CHECK(readings[0].sign == CurrentSign::discharge_positive);
    CHECK(readings[0].tallies.at(3).negative == 0);
  }
}

TEST_CASE("native steps: a fall of the state of charge in sleep is no charge by noise") {
  // Before the silence 60.0 %, after it 60.3: three steps of noise; 65.9: what a
  // controller may put right at rest; 66.5 is a charge.
  for (const std::uint32_t after : {603u, 659u, 665u}) {
    Scene scene;
    scene.soc = false;
    scene.stretch(300, 0, 0);
    for (int s = 0; s <= 300; s += 5)
      add_sample(scene.episode.soc, testing::kReplayStartMs + s * 1000, 600);
    scene.episode.soc_step_pct = 0.1;
    const Episode first = scene.take();
    scene.silence(4 * 3600);
    const std::int64_t woke_ms = scene.now_ms;
    scene.stretch(300, 0, 0);
    for (int s = 0; s <= 300; s += 5) add_sample(scene.episode.soc, woke_ms + s * 1000, after);
    scene.episode.soc_step_pct = 0.1;
    const VanFigures figures = account_of({first, scene.take()}, nominal(50));
    REQUIRE(figures.sessions.size() == (after == 603 ? 0 : 1));
    if (after == 603) continue;
    CHECK(surely_charged(figures.sessions[0]) == (after == 665));
    REQUIRE(figures.sessions[0].pack_kwh.figure);
    const Figure& kwh = *figures.sessions[0].pack_kwh.figure;
    CHECK(kwh.low >= 0);
    CHECK(kwh.high > 1.45);
    if (after != 665) {
      CHECK(kwh.value == 0);
      continue;
    }
    CHECK(*figures.sessions[0].soc_start_pct == doctest::Approx(60));
    CHECK(figures.sessions[0].pack_kwh.figure->value == doctest::Approx(3.25));
  }
}

TEST_CASE("native steps: swings need two steps of the van, and are counted by depth") {
  SocSwings swings;
  const double step = 1 / kSocPctPerCode;  // 1 % in codes
  for (int i = 0; i < 100; ++i) swings.observe((60 + i % 2) * step, 2 * step - 1e-6);
  CHECK(swings.finish().empty());
  for (const double pct : {90.0, 40.0, 42.0, 20.0, 90.0})
    swings.observe(pct * step, 2 * step - 1e-6);
  const auto counted = swings.finish();
  REQUIRE(counted.size() == 2);
  CHECK(counted[0].depth_pct == doctest::Approx(2).epsilon(0.1));
  CHECK(counted[1].depth_pct == doctest::Approx(70).epsilon(0.01));
}

TEST_CASE("native steps: what the van rounds away widens the interval") {
  // Between 2 and 3 A, a step of 1 A apart: still, half a step off, at 400 V for 600 s.
  CHECK(systematic_kwh(1, kVoltPerCode, 2, 3) ==
        doctest::Approx(0.5 / std::sqrt(3.0) * 400 * 600 / 3.6e6).epsilon(1e-3));
  // The same words of the standard's step are lively.
  CHECK(systematic_kwh(kAmpPerCode, kVoltPerCode, 2, 3) == doctest::Approx(0));
  // A volt's step at 20 to 40 A, 5 Ah: 0.2887 V.
  CHECK(systematic_kwh(kAmpPerCode, 1, 20, 40) ==
        doctest::Approx(1 / std::sqrt(12.0) * 30 * 600 / 3600 / 1e3).epsilon(0.02));
}

TEST_CASE("native steps: a steady current that flickers by one coarse step is not held") {
  Episode episode;
  int second = 0;
  for (int turn = 0; turn < 80; ++turn)
    for (int i = 0; i < 7; ++i, ++second)
      add_pack_row(episode, second * 1000, 400, turn % 2 == 0 ? 20 : 21, 1000);
  for (const double a_step_a : {kAmpPerCode, 1.0}) {
    episode.pack.a_step_a = a_step_a;
    PackDecoder decoder;
    const PackReading reading = agreed_reading();
    const PackRows rows = decoder.decode(episode.pack, &reading);
    CHECK(look_at_words(rows, 0, rows.size() - 1).held == (a_step_a < 1));
  }
}

}  // namespace packmile
