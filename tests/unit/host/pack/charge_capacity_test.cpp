// Capacity from one charge: what the SoC edges give, and when nothing is said.
#include "pack/charge_capacity.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <random>
#include <string>

#include "host/pack/charge_scene.hpp"
#include "pack/robust.hpp"

namespace packmile::testing {
namespace {

struct Spread {
  double sd_pct = 0;
  double lean_pct = 0;
  int refused = 0;
  int readings = 0;
};

// seed 7, as many charges of 20 to 40 points from 20 to 50 % on.
Spread spread_of(ChargeScene scene, int rounds) {
  std::mt19937 random{7};
  std::uniform_real_distribution<double> uniform;
  std::vector<double> errors;
  Spread spread;
  CapacityRules rules;
  rules.least_window_pct = 15;
  for (int i = 0; i < rounds; ++i) {
    scene.soc_from = 0.2 + 0.3 * uniform(random);
    scene.soc_to = scene.soc_from + 0.2 + 0.2 * uniform(random);
    scene.soc_phase_s = std::floor(scene.soc_poll_s * uniform(random));
    const ChargeCapacity capacity = measure_charge(make_charge(scene, random), rules);
    if (!capacity.ah.figure) {
      ++spread.refused;
      continue;
    }
    spread.readings += capacity.method == EdgeMethod::readings;
    errors.push_back(100 * (capacity.ah.figure->value / scene.capacity_ah - 1));
  }
  double squares = 0;
  for (const double e : errors) {
    spread.lean_pct += e / double(errors.size());
    squares += e * e / double(errors.size());
  }
  spread.sd_pct = std::sqrt(squares);
  return spread;
}

ChargeCapacity measured(const ChargeScene& scene, const CapacityRules& rules = {}) {
  std::mt19937 random{3};  // seed 3
  return measure_charge(make_charge(scene, random), rules);
}

}  // namespace

// Source: the sd of simulated charges of other make (numpy, poll 1, 5, 10, 30 s:
// 0.009, 0.020, 0.033, 0.067 %; code readings 0.56 %).
TEST_CASE("charge capacity: edges of every code, by poll interval") {
  for (const auto& [poll_s, most_pct] :
       {std::pair{1.0, 0.02}, {5.0, 0.03}, {10.0, 0.045}, {30.0, 0.11}}) {
    ChargeScene scene;
    scene.soc_poll_s = poll_s;
    const Spread spread = spread_of(scene, 60);
    std::printf("edges, seed 7, poll %4.0f s: sd %.4f %% lean %+.4f %%\n", poll_s, spread.sd_pct,
                spread.lean_pct);
    CAPTURE(poll_s);
    CHECK(spread.refused == 0);
    CHECK(spread.readings == 0);
    CHECK(spread.sd_pct < most_pct);
    CHECK(std::abs(spread.lean_pct) < 0.02);
  }
}

// Source: as above, controllers of 1 % steps: 0.010, 0.035, 0.051, 0.17 %.
TEST_CASE("charge capacity: controllers that count in 1 or 0.5 %, cut or rounded") {
  for (const double step : {0.01, 0.005}) {
    for (const bool rounds : {false, true}) {
      for (const auto& [poll_s, most_pct] : {std::pair{1.0, 0.03}, {10.0, 0.08}, {30.0, 0.25}}) {
        ChargeScene scene;
        scene.soc_poll_s = poll_s;
        scene.step = step;
        scene.rounds = rounds;
        const Spread spread = spread_of(scene, 40);
        std::printf("edges, seed 7, step %.3f %s poll %4.0f s: sd %.4f %% lean %+.4f %%\n", step,
                    rounds ? "rounded" : "cut", poll_s, spread.sd_pct, spread.lean_pct);
        CAPTURE(step);
        CAPTURE(rounds);
        CAPTURE(poll_s);
        CHECK(spread.refused == 0);
        CHECK(spread.readings == 0);
        CHECK(spread.sd_pct < most_pct);
        CHECK(std::abs(spread.lean_pct) < 0.05);
      }
    }
  }
}

TEST_CASE("charge capacity: the step is found from the codes seen") {
  for (const auto& [step, rounds, expected] : {std::tuple{0.0, false, SocStep::code},
                                               {0.01, false, SocStep::percent_cut},
                                               {0.01, true, SocStep::percent_rounded},
                                               {0.005, false, SocStep::half_percent_cut},
                                               {0.005, true, SocStep::half_percent_rounded}}) {
    ChargeScene scene;
    scene.step = step;
    scene.rounds = rounds;
    scene.soc_poll_s = 5;
    CAPTURE(step);
    CAPTURE(rounds);
    CHECK(int(measured(scene).step) == int(expected));
  }
}

TEST_CASE("charge capacity: answers in other steps than 1/255") {
  for (const auto& [answered, step] :
       {std::pair{0.001, 0.0}, {0.001, 0.005}, {0.001, 0.01}, {0.005, 0.0}, {0.01, 0.0}}) {
    CAPTURE(answered);
    CAPTURE(step);
    ChargeScene scene;
    scene.answered = answered;
    scene.step = step;
    scene.soc_poll_s = 5;
    const ChargeCapacity capacity = measured(scene);
    REQUIRE(capacity.ah.figure);
    CHECK(capacity.method == EdgeMethod::edges);
    CHECK(capacity.re_anchors.empty());
    CHECK(capacity.ah.figure->value == doctest::Approx(150).epsilon(0.001));
    scene.soc_to = 0.75;
    scene.jump_at = 0.5;
    scene.jump = -0.03;
    CHECK(measured(scene).refusal == CapacityRefusal::re_anchored);
    scene.jump = 0;
    scene.soc_to = 0.55;
    CHECK(measured(scene).refusal == CapacityRefusal::small_window);
  }
}

TEST_CASE("soc steps: labels of every step are the steps themselves") {
  for (int n = 0; n <= 100; ++n) {
    CAPTURE(n);
    const auto cut = static_cast<std::uint32_t>(255 * n / 100);
    const auto rounded = static_cast<std::uint32_t>((2 * 255 * n + 100) / 200);
    CHECK(can_show(SocStep::percent_cut, cut));
    CHECK(steps_at(SocStep::percent_cut, cut) == n);
    CHECK(can_show(SocStep::percent_rounded, rounded));
    CHECK(steps_at(SocStep::percent_rounded, rounded) == n);
  }
  CHECK_FALSE(can_show(SocStep::percent_cut, 1));  // 2 is 1 %
  CHECK_FALSE(can_show(SocStep::percent_cut, 256));
  CHECK(can_show(SocStep::code, 1));
  CHECK(steps_that_fit({2, 5, 7}).front() == SocStep::percent_cut);
  CHECK(steps_that_fit({2, 3, 4}).front() != SocStep::percent_cut);
  CHECK(steps_that_fit({2, 3, 4, 6, 7, 9, 10}).back() == SocStep::code);
}

TEST_CASE("charge capacity: a constant error of the shown charge does not matter") {
  ChargeScene scene;
  const double plain = measured(scene).ah.figure->value;
  scene.shift = 0.0173;
  CHECK(measured(scene).ah.figure->value == doctest::Approx(plain).epsilon(0.0007));
}

TEST_CASE("charge capacity: a display that waits after the turn does not matter") {
  ChargeScene scene;
  scene.hysteresis = 0.012;
  const ChargeCapacity capacity = measured(scene);
  REQUIRE(capacity.ah.figure);
  CHECK(capacity.ah.figure->value == doctest::Approx(150).epsilon(0.001));
  CHECK(capacity.n_edges_left_out >= 1);
}

TEST_CASE("charge capacity: a display at its stop is left out") {
  ChargeScene scene;
  scene.soc_from = 0.5;
  scene.soc_to = 1.0;
  scene.shift = 0.03;  // it reaches 100 % early and stays there
  scene.believed_ah = 150;
  const ChargeCapacity capacity = measured(scene);
  REQUIRE(capacity.ah.figure);
  CHECK(capacity.ah.figure->value == doctest::Approx(150).epsilon(0.001));
  CHECK(capacity.window_high_pct < 100);
  // One that jumps from 96 to 100 % at the end: the last edges leave the line.
  scene.shift = 0;
  scene.soc_to = 0.99;
  scene.jump_at = 0.96;
  scene.jump = 0.006;
  const ChargeCapacity jumping = measured(scene);
  REQUIRE(jumping.ah.figure);
  CHECK(jumping.ah.figure->value == doctest::Approx(150).epsilon(0.001));
  // The same near the lower end.
  scene.soc_from = 0.2;
  scene.soc_to = 0.69;
  scene.jump_at = 0.23;
  const ChargeCapacity early = measured(scene);
  REQUIRE(early.ah.figure);
  CHECK(early.ah.figure->value == doctest::Approx(150).epsilon(0.001));
}

TEST_CASE("charge capacity: a pause in which the van takes a little") {
  ChargeScene scene;
  scene.pause_from_s = 4'000;
  scene.pause_s = 800;
  const ChargeCapacity capacity = measured(scene);
  REQUIRE(capacity.ah.figure);
  CHECK(capacity.ah.figure->value == doctest::Approx(150).epsilon(0.001));
}

TEST_CASE("charge capacity: the interval and its parts") {
  ChargeScene scene;
  scene.soc_to = 0.7;
  const ChargeCapacity capacity = measured(scene);
  REQUIRE(capacity.ah.figure);
  const Figure& ah = *capacity.ah.figure;
  CHECK(ah.low < 150);
  CHECK(ah.high > 150);
  const double x = capacity.point.x;
  // By hand: half a point of about 39, and 0.6 % of the sensor and 1 % of the scale
  // with 0.3 A over 150/19 h.
  CHECK(ah.scatter == doctest::Approx(1.96 * 150 * 0.005 / x).epsilon(0.02));
  const double all = (ah.high - ah.low) / 2;
  const double systematic = std::sqrt(all * all - ah.scatter * ah.scatter);
  CHECK(systematic == doctest::Approx(1.96 * std::hypot(0.9, 1.5, 0.3 * 150 / 19)).epsilon(0.02));
  CHECK(capacity.point.t / x == doctest::Approx(150.0 / 19).epsilon(0.01));
}

TEST_CASE("charge capacity: a current that keeps a coarse step widens it by that step") {
  ChargeScene scene;
  scene.noise_a = 0;
  scene.charge_a = 19.4;  // reads 19
  scene.amp_step = 1;
  const ChargeCapacity coarse = measured(scene);
  REQUIRE(coarse.ah.figure);
  const double hours = coarse.point.x * 150 / 19.4;
  CHECK(coarse.point.u_y ==
        doctest::Approx(std::hypot(0.05, hours / std::sqrt(12.0))).epsilon(0.05));
  CHECK(coarse.ah.figure->low < 150);
  CHECK(coarse.ah.figure->high > 150);
  scene.noise_a = 1.5;  // dithered: a step is not kept for a minute
  CHECK(measured(scene).point.u_y < 0.4 * coarse.point.u_y);
}

TEST_CASE("charge capacity: an offset of the sensor is still in it") {
  ChargeScene scene;
  scene.sensor_a = 0.4;  // 0.4 A read as discharge: 2 % of the charge is not seen
  CHECK(measured(scene).ah.figure->value == doctest::Approx(150 * (1 - 0.4 / 19)).epsilon(0.001));
}

TEST_CASE("charge capacity: it is the controller's own scale that is found") {
  ChargeScene scene;
  scene.capacity_ah = 140;
  scene.believed_ah = 160;
  scene.soc_to = 0.75;
  CHECK(measured(scene).ah.figure->value == doctest::Approx(160).epsilon(0.001));
}

TEST_CASE(
    "charge capacity: a controller that corrects itself all along is flagged, twice as wide") {
  ChargeScene scene;
  const ChargeCapacity straight = measured(scene);
  CHECK_FALSE(straight.bends);
  CHECK(std::abs(straight.bend) < 0.003);
  scene.bend = 0.3;
  const ChargeCapacity bent = measured(scene);
  REQUIRE(bent.ah.figure);
  CHECK(bent.bends);
  CHECK(bent.ah.figure->scatter == doctest::Approx(2 * straight.ah.figure->scatter).epsilon(0.1));
}

TEST_CASE("charge capacity: refusals say why") {
  ChargeScene scene;
  scene.soc_to = 0.55;
  CHECK(measured(scene).refusal == CapacityRefusal::small_window);
  CHECK_FALSE(measured(scene).ah.figure);
  CHECK(measured(scene).ah.why.find("30 points") != std::string::npos);
  scene.soc_to = 0.7;
  std::mt19937 random{3};
  ChargeTrace trace = make_charge(scene, random);
  trace.verdict = CurrentVerdict::too_little;
  CHECK(measure_charge(trace).refusal == CapacityRefusal::current_not_proven);
  trace.verdict = CurrentVerdict::agreed;
  CHECK(measure_charge(trace).refusal == CapacityRefusal::none);
  ChargeTrace mute = trace;
  mute.soc = {};
  CHECK(measure_charge(mute).refusal == CapacityRefusal::no_soc);
  CHECK(measure_charge(ChargeTrace{}).refusal == CapacityRefusal::current_not_proven);
  ChargeTrace empty;
  empty.verdict = CurrentVerdict::agreed;
  CHECK(measure_charge(empty).refusal == CapacityRefusal::not_seen);
  scene.silent_from_s = 2'000;
  scene.silent_s = 400;
  CHECK(measured(scene).refusal == CapacityRefusal::low_coverage);
  scene.silent_s = 100;
  const ChargeCapacity seen = measured(scene);
  REQUIRE(seen.ah.figure);
  CHECK(seen.ah.figure->value == doctest::Approx(150).epsilon(0.002));
}

TEST_CASE("charge capacity: the controller that changes its mind inside is refused and listed") {
  for (const double jump : {0.03, -0.03}) {
    for (const double within_s : {0.0, 60.0}) {
      ChargeScene scene;
      scene.soc_to = 0.75;
      scene.jump_at = 0.5;
      scene.jump = jump;
      scene.jump_s = within_s;
      const ChargeCapacity capacity = measured(scene);
      CAPTURE(jump);
      CAPTURE(within_s);
      CHECK(capacity.refusal == CapacityRefusal::re_anchored);
      REQUIRE(capacity.re_anchors.size() == 1);
      const ReAnchor& event = capacity.re_anchors[0];
      CHECK(event.soc_after_pct - event.soc_before_pct == doctest::Approx(100 * jump).epsilon(0.2));
      CHECK(std::abs(event.ah) < std::abs(event.expected_ah) / 2);
      CHECK(std::string(word_of(event.place)) == "charging");
    }
  }
}

TEST_CASE("charge capacity: a coarse step is no change of mind") {
  for (const double step : {0.01, 0.005}) {
    ChargeScene scene;
    scene.step = step;
    CHECK(measured(scene).re_anchors.empty());
    scene.charge_a = 150;  // fast: half a point between two polls
    CHECK(measured(scene).re_anchors.empty());
  }
}

TEST_CASE("charge capacity: a fast charge with few polls") {
  ChargeScene scene;
  scene.charge_a = 140;
  scene.kind = ChargeKind::dc;
  scene.row_s = 1;
  scene.soc_to = 0.8;
  for (const double poll_s : {5.0, 10.0, 30.0}) {
    scene.soc_poll_s = poll_s;
    CAPTURE(poll_s);
    const ChargeCapacity capacity = measured(scene);
    REQUIRE(capacity.ah.figure);
    CHECK(capacity.ah.figure->value == doctest::Approx(150).epsilon(0.004));
  }
}

TEST_CASE("charge trace: gaps are bridged and counted, halves join") {
  ChargeTrace trace;
  trace.push(0, 10, 350);
  trace.push(3'600'000, 20, 350);
  CHECK(trace.ah.back() == doctest::Approx(15));
  CHECK(trace.bridged_ah == 0);
  trace.push(7'200'000, 20, 350, true);
  CHECK(trace.ah.back() == doctest::Approx(35));
  CHECK(trace.bridged_ah == doctest::Approx(20));
  trace.close();
  CHECK(trace.coverage == doctest::Approx(0.5));
  CHECK(trace.ah_at(-5) == 0);
  CHECK(trace.ah_at(1'800'000) == doctest::Approx(7.5));
  CHECK(trace.ah_at(99'000'000) == doctest::Approx(35));

  ChargeScene scene;
  std::mt19937 random{5};  // seed 5
  const ChargeTrace whole = make_charge(scene, random);
  ChargeTrace first, second;
  for (std::size_t i = 0; i < whole.time_ms.size(); ++i) {
    (i < 300 ? first : second).push(whole.time_ms[i], whole.charge_a[i], whole.pack_v[i]);
  }
  for (std::size_t i = 0; i < whole.soc.raw.size(); ++i) {
    ChargeTrace& part = whole.soc.time_ms[i] < second.time_ms.front() ? first : second;
    part.soc.time_ms.push_back(whole.soc.time_ms[i]);
    part.soc.raw.push_back(whole.soc.raw[i]);
  }
  first.close();
  second.close();
  first.verdict = CurrentVerdict::agreed;
  join_traces(first, second);
  CHECK(first.ah.back() == doctest::Approx(whole.ah.back()));
  CHECK(measure_charge(first).ah.figure->value ==
        doctest::Approx(measure_charge(whole).ah.figure->value).epsilon(1e-9));
}

// Any bytes: no crash, no hang, and never a figure that is no number.
TEST_CASE("charge capacity: nonsense is survived") {
  std::mt19937 random{99};  // seed 99
  for (int round = 0; round < 300; ++round) {
    ChargeTrace trace;
    trace.verdict = CurrentVerdict::agreed;
    const auto rows = random() % 400;
    std::int64_t t_ms = 0;
    for (unsigned i = 0; i < rows; ++i) {
      trace.push(t_ms, double(random() % 65536) / 10 - 3276, double(random() % 65536) / 64,
                 random() % 50 == 0);
      t_ms += static_cast<std::int64_t>(random() % 5'000);
    }
    std::int64_t soc_ms = -20'000;
    const auto codes = random() % 200;
    for (unsigned i = 0; i < codes; ++i) {
      trace.soc.time_ms.push_back(soc_ms);
      trace.soc.raw.push_back(static_cast<std::uint32_t>(
          round % 2 == 0 ? random() % 256 : std::min<std::uint64_t>(255, i + random() % 3)));
      soc_ms += static_cast<std::int64_t>(random() % 10'000);
    }
    trace.close();
    const ChargeCapacity capacity = measure_charge(trace);
    if (capacity.ah.figure) {
      CHECK(std::isfinite(capacity.ah.figure->value));
      CHECK(std::isfinite(capacity.ah.figure->high));
      CHECK(capacity.ah.figure->value > 0);
    } else {
      CHECK_FALSE(capacity.ah.why.empty());
    }
  }
}

}  // namespace packmile::testing
