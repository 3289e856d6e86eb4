#include "energy/integrate.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "host/reading/replay.hpp"

namespace packmile {

using testing::add_pack_row;
using testing::agreed_reading;

namespace {

struct Sums {
  PowerIntegral integral;
  std::vector<Gap> gaps;
};

Sums sums_of(const Episode& episode, const PackReading& reading = agreed_reading()) {
  PackDecoder decoder;
  const PackRows rows = decoder.decode(episode.pack, &reading);
  Sums sums;
  sums.integral.add(rows, 0, rows.size() - 1, 2.5, &sums.gaps);
  sums.integral.add_sampling(rows, 0, rows.size() - 1, sums.gaps);
  return sums;
}

// E1 of the methods page.
Episode seven_rows(CurrentCoding coding = CurrentCoding::twos_complement,
                   CurrentSign sign = CurrentSign::discharge_positive) {
  Episode episode;
  const double t[] = {0, 0.5, 1, 1.5, 2, 4, 4.5};
  const double v[] = {360, 358.5, 356.25, 355, 357, 361, 362};
  const double a[] = {10, 32.5, 60, 75.1, 40, -20, -5};
  for (int i = 0; i < 7; ++i) {
    add_pack_row(episode, std::lround(t[i] * 1000), v[i], a[i], 500, coding, sign);
  }
  return episode;
}

}  // namespace

// E1. Source: the same rows integrated by numpy.
TEST_CASE("integrate: seven rows, the fifth step is a gap") {
  const Episode episode = seven_rows();
  const Sums sums = sums_of(episode);
  CHECK(sums.integral.net_kwh() * 1e3 == doctest::Approx(8.904410).scale(0).epsilon(1e-7));
  REQUIRE(sums.gaps.size() == 1);
  CHECK(sums.gaps[0].row == 4);
  CHECK(sums.gaps[0].length_ms == 2000);
  CHECK(static_cast<double>(sums.integral.covered_ms()) / 4500 ==
        doctest::Approx(0.555556).scale(0).epsilon(1e-6));
  // Each step by itself, and the gap bridged by nobody but a looser rule.
  const double steps_wh[] = {1.059115, 2.293490, 3.335799, 2.843090, 1.961111, -0.627083};
  PackDecoder decoder;
  const PackReading reading = agreed_reading();
  const PackRows rows = decoder.decode(episode.pack, &reading);
  double all = 0;
  for (std::size_t i = 0; i < 6; ++i) {
    PowerIntegral step;
    step.add(rows, i, i + 1, 100, nullptr);
    CHECK(step.net_kwh() * 1e3 == doctest::Approx(steps_wh[i]).scale(0).epsilon(1e-6));
    all += step.net_kwh() * 1e3;
  }
  CHECK(all == doctest::Approx(10.865521).scale(0).epsilon(1e-7));
}

// By hand: half of 0.5 s at 8 kW, and half of it at 4 kW the other way.
TEST_CASE("integrate: of a step through zero each end counts for its own side") {
  Episode episode;
  add_pack_row(episode, 0, 400, 20, 500);
  add_pack_row(episode, 500, 400, -10, 500);
  const PowerIntegral sum = sums_of(episode).integral;
  CHECK(sum.discharge_kwh() * 1e3 == doctest::Approx(0.555556).scale(0).epsilon(1e-5));
  CHECK(sum.charge_kwh() * 1e3 == doctest::Approx(0.277778).scale(0).epsilon(1e-5));
  CHECK(sum.net_kwh() * 1e3 == doctest::Approx(0.277778).scale(0).epsilon(1e-5));
  CHECK(sum.discharge_ah() - sum.charge_ah() ==
        doctest::Approx(sum.net_ah()).scale(0).epsilon(1e-12));
}

// Textbook: a half wave of a sine has the area T / pi. Split where the straight line
// crosses zero it would be 4 % too small with eight words a wave.
TEST_CASE("integrate: what is given loses nothing on average over the moments of asking") {
  constexpr double kWaveMs = 8000;
  constexpr double kAmps = 100;
  constexpr int kPhases = 50;
  double ah = 0;
  for (int phase = 0; phase < kPhases; ++phase) {
    Episode episode;
    for (int i = 0; i <= 80; ++i) {
      const double turn = (i * 1000.0 + phase * 1000.0 / kPhases) / kWaveMs;
      add_pack_row(episode, i * 1000, 400, kAmps * std::sin(2 * std::numbers::pi * turn), 1000);
    }
    ah += sums_of(episode).integral.discharge_ah() / kPhases;
  }
  const double waves_h = 10 * kWaveMs / 3.6e6;
  CHECK(ah == doctest::Approx(kAmps * waves_h / std::numbers::pi).scale(0).epsilon(2e-3));
}

// E3. Definition of the units.
TEST_CASE("integrate: 25 A at 350 V for an hour") {
  Episode episode;
  for (int s = 0; s <= 3600; ++s) add_pack_row(episode, s * 1000, 350, 25, 1000);
  const PowerIntegral sum = sums_of(episode).integral;
  CHECK(sum.net_kwh() == doctest::Approx(8.75).scale(0).epsilon(1e-12));
  CHECK(sum.net_ah() == doctest::Approx(25).scale(0).epsilon(1e-12));
  CHECK(sum.mean_v() == doctest::Approx(350).scale(0).epsilon(1e-12));
}

// E4. Textbook: the trapezoid of sin over 0..pi in n steps is (pi/n) cot(pi/2n).
TEST_CASE("integrate: the trapezoid of a sine") {
  std::vector<std::int64_t> time_ms;
  std::vector<std::int32_t> power;
  std::vector<std::int16_t> tenths(11, 1);
  std::vector<std::uint16_t> volts(11, 1);
  std::vector<std::uint32_t> period(11, 1000);
  constexpr double kScale = 2e9;
  for (int i = 0; i <= 10; ++i) {
    time_ms.push_back(i * 1000);
    power.push_back(
        static_cast<std::int32_t>(std::lround(kScale * std::sin(i * std::numbers::pi / 10))));
  }
  PowerIntegral sum;
  sum.add({time_ms, power, tenths, volts, period}, 0, 10, 2.5, nullptr);
  const double integral = sum.net_kwh() / kKwhPerRaw / kScale / 1000 * std::numbers::pi / 10;
  CHECK(integral == doctest::Approx(1.983523538).scale(0).epsilon(1e-9));
}

TEST_CASE("integrate: the four variants of the words give the same bits") {
  const PowerIntegral first = sums_of(seven_rows()).integral;
  for (const auto coding : {CurrentCoding::twos_complement, CurrentCoding::offset_binary}) {
    for (const auto sign : {CurrentSign::discharge_positive, CurrentSign::discharge_negative}) {
      PackReading reading = agreed_reading();
      reading.coding = coding;
      reading.sign = sign;
      const PowerIntegral sum = sums_of(seven_rows(coding, sign), reading).integral;
      CHECK(sum.net_kwh() == first.net_kwh());
      CHECK(sum.discharge_kwh() == first.discharge_kwh());
      CHECK(sum.charge_ah() == first.charge_ah());
      CHECK(sum.net_figure_kwh({}).low == first.net_figure_kwh({}).low);
    }
  }
}

TEST_CASE("integrate: words that no van can carry are left out as if not answered") {
  Episode episode = seven_rows();
  episode.pack.a_raw[2] = 0x8000;
  const Sums sums = sums_of(episode);
  CHECK(sums.integral.pairs() == 4);  // five rows before and one after the gap
  PackReading undecided = agreed_reading();
  undecided.verdict = CurrentVerdict::too_little;
  PackDecoder decoder;
  CHECK(decoder.decode(episode.pack, &undecided).size() == 0);
  CHECK(decoder.decode(episode.pack, nullptr).size() == 0);
}

TEST_CASE("integrate: a change of the poll period is no gap, back to back counts as a second") {
  CHECK(longest_step_ms(200, 200, 2.5) == 500);
  CHECK(longest_step_ms(5000, 200, 2.5) == 12'500);
  CHECK(longest_step_ms(0, 0, 2.5) == 2'500);
  Episode episode;
  add_pack_row(episode, 0, 360, 10, 5000);
  add_pack_row(episode, 5000, 360, 10, 200);
  add_pack_row(episode, 5200, 360, 10, 200);
  add_pack_row(episode, 5800, 360, 10, 200);
  const Sums sums = sums_of(episode);
  REQUIRE(sums.gaps.size() == 1);
  CHECK(sums.gaps[0].row == 2);
}

// E5, and E6: the worked example of the combined interval.
TEST_CASE("integrate: offset and gain make the systematic part") {
  Episode episode;
  // 0.5 h at 370 V; noise over many codes, so that nothing stands still.
  for (int i = 0; i <= 3600; ++i) {
    add_pack_row(episode, i * 500, 370, 13.9 + (i % 2 == 0 ? 3 : -3), 500);
  }
  const PowerIntegral sum = sums_of(episode).integral;
  CHECK(sum.net_kwh() == doctest::Approx(2.57).scale(0).epsilon(0.002));
  EnergyRules rules;
  rules.current_gain_u = rules.voltage_gain_u = 0;
  rules.offset_u_a = 0.5;
  const auto systematic = [](const Figure& f) {
    const double all = (f.high - f.low) / 2 / kZ95;
    const double random = f.scatter / kZ95;
    return std::sqrt(all * all - random * random);
  };
  CHECK(systematic(sum.net_figure_kwh(rules)) == doctest::Approx(0.0925).scale(0).epsilon(1e-9));
  // Sampling 0.006, offset 0.0555, gain 0.0154: the example takes the current's
  // gain alone.
  EnergyRules example;
  example.voltage_gain_u = 0;
  CHECK(std::hypot(0.006, systematic(sum.net_figure_kwh(example))) ==
        doctest::Approx(0.0579).scale(0).epsilon(0.002));
  EnergyRules known;
  known.offset_u_a = 0.025;
  known.voltage_gain_u = 0;
  CHECK(std::hypot(0.006, systematic(sum.net_figure_kwh(known))) ==
        doctest::Approx(0.0171).scale(0).epsilon(0.01));
}

TEST_CASE("integrate: an offset of days is less sure in one hour, one that wanders in any") {
  Episode episode;
  for (int i = 0; i <= 3600; ++i) add_pack_row(episode, i * 1000, 400, 20, 1000);
  PackReading reading;
  reading.verdict = CurrentVerdict::agreed;
  reading.coding = CurrentCoding::twos_complement;
  reading.sign = CurrentSign::discharge_positive;
  const auto u_ah = [&] {
    PackDecoder decoder;
    const PackRows rows = decoder.decode(episode.pack, &reading);
    PowerIntegral first, second;
    first.add(rows, 0, 1800, kGapPeriods, nullptr);
    second.add(rows, 1800, 3600, kGapPeriods, nullptr);
    PowerIntegral integral;
    integral += first;
    integral += second;
    EnergyRules offset_alone;
    offset_alone.current_gain_u = offset_alone.voltage_gain_u = 0;
    const Figure ah = integral.discharge_figure_ah(offset_alone);
    const double half = (ah.high - ah.low) / 2;
    return std::sqrt(half * half - ah.scatter * ah.scatter) / kZ95;
  };
  // An hour at the 0.3 A that are taken, and what rounding a still current may do besides.
  const double taken = u_ah();
  CHECK(taken == doctest::Approx(0.3).epsilon(0.02));
  reading.offset_wander_a = 0.2;
  CHECK(u_ah() * u_ah() - taken * taken == doctest::Approx(0.2 * 0.2).epsilon(1e-6));
  reading.offset_wander_a = 0;
  reading.offset = SensorOffset{0, 0.02};
  CHECK(taken * taken - u_ah() * u_ah() ==
        doctest::Approx(0.3 * 0.3 - 0.02 * 0.02 - kOffsetWanderU * kOffsetWanderU).epsilon(1e-6));
}

TEST_CASE(
    "integrate: a gain that is told is out of energy and charge, its own width for the usual") {
  Episode episode;
  for (int i = 0; i <= 3600; ++i)
    add_pack_row(episode, i * 500, 370, (i % 120 < 80 ? 40 : -30) + i % 7, 500);
  PackReading reading;
  reading.verdict = CurrentVerdict::agreed;
  reading.coding = CurrentCoding::twos_complement;
  reading.sign = CurrentSign::discharge_positive;
  reading.offset = SensorOffset{0.234, 0.02};
  const auto integral_of = [&] {
    PackDecoder decoder;
    const PackRows rows = decoder.decode(episode.pack, &reading);
    PowerIntegral integral;
    integral.add(rows, 0, rows.size() - 1, kGapPeriods, nullptr);
    return std::pair{integral, rows.power_kw(0)};
  };
  const auto [words, words_kw] = integral_of();
  reading.gain = SensorGain{0.98, 0.004, 0.99, 0.003};
  const auto [real, real_kw] = integral_of();
  CHECK(real_kw == doctest::Approx(0.98 * words_kw).epsilon(1e-12));
  CHECK(real.net_kwh() == doctest::Approx(0.98 * words.net_kwh()).epsilon(1e-12));
  CHECK(real.discharge_kwh() == doctest::Approx(0.98 * words.discharge_kwh()).epsilon(1e-12));
  CHECK(real.charge_kwh() == doctest::Approx(0.98 * words.charge_kwh()).epsilon(1e-12));
  CHECK(real.net_ah() == doctest::Approx(0.99 * words.net_ah()).epsilon(1e-12));
  CHECK(real.discharge_ah() == doctest::Approx(0.99 * words.discharge_ah()).epsilon(1e-12));
  // Parts that both have apart, what is left in quadrature is the gain's.
  EnergyRules no_gain;
  no_gain.current_gain_u = no_gain.voltage_gain_u = 0;
  const auto half = [](const Figure& f) { return (f.high - f.low) / 2 / kZ95; };
  const double others = half(words.discharge_figure_kwh(no_gain));
  CHECK(half(real.discharge_figure_kwh(EnergyRules{})) ==
        doctest::Approx(std::hypot(others, 0.004 / 0.98 * real.discharge_kwh())).epsilon(0.002));
  // Two stretches of one reading are one.
  PowerIntegral sum;
  sum += real;
  sum += real;
  CHECK(sum.net_kwh() == doctest::Approx(2 * real.net_kwh()).epsilon(1e-12));
}

TEST_CASE("integrate: a current that stands still for a minute may be half a code off") {
  const auto systematic_of = [](int steady_s) {
    Episode episode;
    for (int s = 0; s <= 600; ++s) {
      add_pack_row(episode, s * 1000, 400, s / steady_s % 2 == 0 ? 2.4 : 9.0, 1000);
    }
    EnergyRules rules;
    rules.current_gain_u = rules.voltage_gain_u = rules.offset_u_a = 0;
    const Figure f = sums_of(episode).integral.net_figure_kwh(rules);
    return (f.high - f.low) / 2 - f.scatter;
  };
  CHECK(systematic_of(30) == doctest::Approx(0));
  CHECK(systematic_of(1000) > 0);
  // 0.05 A rectangular at 400 V for 600 s.
  Episode episode;
  for (int s = 0; s <= 600; ++s) add_pack_row(episode, s * 1000, 400, 2.4, 1000);
  EnergyRules rules;
  rules.current_gain_u = rules.voltage_gain_u = rules.offset_u_a = 0;
  const Figure f = sums_of(episode).integral.net_figure_kwh(rules);
  const double random = f.scatter / kZ95;
  const double all = (f.high - f.low) / 2 / kZ95;
  CHECK(std::sqrt(all * all - random * random) ==
        doctest::Approx(0.05 / std::sqrt(3.0) * 400 * 600 / 3.6e6).scale(0).epsilon(1e-6));
}

TEST_CASE("integrate: a still minute inside a lively drive is found to the second") {
  for (const int still_s : {50, 62, 75, 131}) {
    for (const int before_s : {0, 7, 100}) {
      Episode episode;
      int second = 0;
      const auto lively = [&](int n) {
        for (int i = 0; i < n; ++i, ++second) {
          add_pack_row(episode, second * 1000, 400, 10 + (second * 7) % 50, 1000);
        }
      };
      lively(before_s);
      for (int i = 0; i <= still_s; ++i, ++second) {
        add_pack_row(episode, second * 1000, 400, i % 2 == 0 ? 2.4 : 2.5, 1000);
      }
      lively(90);
      EnergyRules rules;
      rules.current_gain_u = rules.voltage_gain_u = rules.offset_u_a = 0;
      const Figure f = sums_of(episode).integral.net_figure_kwh(rules);
      const double random = f.scatter / kZ95;
      const double all = (f.high - f.low) / 2 / kZ95;
      const double still = still_s >= 60 ? 0.05 / std::sqrt(3.0) * 400 * still_s / 3.6e6 : 0;
      CAPTURE(still_s);
      CAPTURE(before_s);
      // Absolute: half a thousandth of the smallest.
      const double found = std::sqrt(std::fmax(0, all * all - random * random));
      CHECK(std::abs(found - still) < 1e-7);
    }
  }
}

// No source: the rule's own arithmetic on a parabola, whose second difference
// is known.
TEST_CASE("integrate: sampling error of a parabola and of a straight line") {
  Episode line;
  Episode bent;
  for (int i = 0; i <= 40; ++i) {
    add_pack_row(line, i * 1000, 256, i, 1000);
    add_pack_row(bent, i * 1000, 256, i * i / 10.0, 1000);
  }
  EnergyRules rules;
  const double words = sums_of(line).integral.net_figure_kwh(rules).scatter;
  const double curved = sums_of(bent).integral.net_figure_kwh(rules).scatter;
  // A line leaves the words' resolution alone.
  CHECK(words / kZ95 ==
        doctest::Approx(0.1 / std::sqrt(12.0) * 256 * 1000 * std::sqrt(40.0) / 3.6e9));
  // 20 triples, each h * (P0/2 - P1 + P2/2) = 1 s * 25.6 W; the ratio of the
  // levels is 32, the factor 1/sqrt(31).
  const double s1 = std::sqrt(20.0) * 25.6 / 3.6e6;
  const double expected = std::hypot(s1 / std::sqrt(31.0), words / kZ95);
  CHECK(curved / kZ95 == doctest::Approx(expected).scale(0).epsilon(0.02));
}

TEST_CASE("integrate: parts add up to the whole") {
  Episode episode;
  for (int i = 0; i <= 1000; ++i) {
    add_pack_row(episode, i * 200 + i % 7, 350 + i % 11, (i * 37) % 200 - 80, 200);
  }
  PackDecoder decoder;
  const PackReading reading = agreed_reading();
  const PackRows rows = decoder.decode(episode.pack, &reading);
  PowerIntegral whole, first, second;
  whole.add(rows, 0, 1000, 2.5, nullptr);
  first.add(rows, 0, 333, 2.5, nullptr);
  second.add(rows, 333, 1000, 2.5, nullptr);
  first += second;
  CHECK(first.net_kwh() == whole.net_kwh());
  CHECK(first.discharge_kwh() == doctest::Approx(whole.discharge_kwh()).scale(0).epsilon(1e-12));
  CHECK(first.pairs() == whole.pairs());
  CHECK(whole.discharge_kwh() - whole.charge_kwh() ==
        doctest::Approx(whole.net_kwh()).scale(0).epsilon(1e-12));
}

}  // namespace packmile
