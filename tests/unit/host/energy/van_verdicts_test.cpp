#include "energy/van_verdicts.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "energy/integrate.hpp"
#include "host/reading/model_drive.hpp"

namespace packmile {

using testing::add_pack_row;
using testing::add_sample;
using testing::agreed_reading;
using testing::close_episode;
using testing::current_word;
using testing::model_drive;
using testing::ModelDrive;

namespace {

UtcTime hour(double h) {
  return UtcTime{std::chrono::milliseconds{static_cast<std::int64_t>(h * 3.6e6)}};
}

const Verdict* find(const std::vector<Verdict>& all, VerdictQuestion question,
                    const std::string& calibration_id = "") {
  for (const Verdict& v : all)
    if (v.question == question && (calibration_id.empty() || v.calibration_id == calibration_id))
      return &v;
  return nullptr;
}

std::vector<Verdict> verdicts_of(const std::vector<Episode>& episodes,
                                 const NotedEvidence& noted = {}) {
  PackEvidence evidence;
  VanVerdicts verdicts;
  for (const Episode& episode : episodes) {
    evidence.observe(episode);
    verdicts.observe(episode);
  }
  return verdicts.decide(evidence.decide(), noted);
}

Episode later(Episode episode, std::int64_t ms, const char* calibration_id) {
  for (auto* series : {&episode.speed, &episode.soc, &episode.odometer})
    for (std::int64_t& t : series->time_ms) t += ms;
  for (std::int64_t& t : episode.pack.time_ms) t += ms;
  episode.pack.ecu = 0x7EC;
  episode.pack.calibration_id = calibration_id;
  close_episode(episode);
  return episode;
}

MeteredCharge metered(double words_kwh, double meter_kwh, double hours, ChargeKind kind) {
  MeteredCharge charge;
  charge.start = hour(0);
  charge.end = hour(hours);
  charge.words_kwh = words_kwh;
  charge.meter_kwh = meter_kwh;
  charge.u_meter_kwh = 0.05;
  charge.kind = kind;
  return charge;
}

PowerIntegral integral_of(const Episode& episode, const PackReading& reading) {
  PackDecoder decoder;
  const PackRows rows = decoder.decode(episode.pack, &reading);
  PowerIntegral integral;
  integral.add(rows, 0, rows.size() - 1, 2.5, nullptr);
  return integral;
}

}  // namespace

TEST_CASE("verdicts: a silent van has every question, with what it would take") {
  Episode episode;
  add_sample(episode.ambient, 1000, 50);
  add_sample(episode.ambient, 61'000, 50);
  episode.start = hour(0);
  episode.end = hour(1);
  const auto all = verdicts_of({episode});
  REQUIRE(all.size() == kVerdictQuestions);
  for (const Verdict& v : all) {
    CHECK(v.answer == VerdictAnswer::not_applicable);
    CHECK(v.ecu == 0);
    CHECK_FALSE(v.evidence.empty());
    CHECK(v.decided_on == hour(1));
  }
  CHECK(VanVerdicts{}.decide({}, {}).empty());
}

// The sign of the word turns round with new software: an error of neither.
TEST_CASE("verdicts: software that turns the sign round opens a segment") {
  ModelDrive turned;
  turned.sign = CurrentSign::discharge_negative;
  turned.coding = CurrentCoding::offset_binary;
  const std::vector<Episode> life{later(model_drive({}), 0, "CAL1"),
                                  later(model_drive({}), 7'200'000, "CAL2"),
                                  later(model_drive(turned), 14'400'000, "CAL3")};
  const auto all = verdicts_of(life);
  for (const char* cal : {"CAL1", "CAL2", "CAL3"}) {
    const Verdict* sign = find(all, VerdictQuestion::sign, cal);
    REQUIRE(sign != nullptr);
    CAPTURE(sign->evidence);
    CHECK(sign->answer == VerdictAnswer::agreed);
    CHECK(find(all, VerdictQuestion::coding, cal)->segment == sign->segment);
    CHECK(find(all, VerdictQuestion::pack_current, cal)->word == "yes");
  }
  CHECK(find(all, VerdictQuestion::sign, "CAL1")->segment == 1);
  CHECK(find(all, VerdictQuestion::sign, "CAL2")->segment == 1);
  CHECK(find(all, VerdictQuestion::sign, "CAL3")->segment == 2);
  CHECK(find(all, VerdictQuestion::sign, "CAL3")->word == "discharge_negative");
  CHECK(find(all, VerdictQuestion::coding, "CAL3")->word == "offset");
  // Readings say the same segment.
  PackEvidence evidence;
  for (const Episode& episode : life) evidence.observe(episode);
  for (const PackReading& reading : evidence.decide())
    CHECK(reading.segment == (reading.calibration_id == "CAL3" ? 2u : 1u));
}

TEST_CASE("verdicts: a current that is not the pack's has a yes or no, and no sign") {
  Episode charge;
  for (int s = 0; s < 7200; ++s) {
    add_pack_row(charge, s * 1000, 380 + s / 500.0, 0, 1000);
    if (s % 10 == 0) {
      add_sample(charge.speed, s * 1000, 0);
      add_sample(charge.soc, s * 1000, 100 + static_cast<std::uint32_t>(s / 120));
    }
  }
  close_episode(charge);
  const auto all = verdicts_of({charge});
  CHECK(find(all, VerdictQuestion::pack_current)->answer == VerdictAnswer::agreed);
  CHECK(find(all, VerdictQuestion::pack_current)->word == "no");
  for (const auto question :
       {VerdictQuestion::sign, VerdictQuestion::offset_a, VerdictQuestion::gain})
    CHECK(find(all, question)->answer == VerdictAnswer::not_applicable);
}

// By hand: 50 kWh in 5 h of AC is (50 + 0.2 * 5) / 0.925 = 55.135 at the meter, 20 in an
// hour of DC (20 + 0.3) / 0.9925 = 20.453.
TEST_CASE("verdicts: gain from metered charges") {
  std::vector<MeteredCharge> charges{metered(50, 55.135, 5, ChargeKind::ac),
                                     metered(25, 27.568, 2.5, ChargeKind::ac)};
  CHECK(judge_gain(charges).answer == VerdictAnswer::too_little);
  CHECK(judge_gain(charges).evidence.find("packmile note") != std::string::npos);
  charges.push_back(metered(20, 20.453, 1, ChargeKind::dc));
  const Verdict right = judge_gain(charges);
  CAPTURE(right.evidence);
  REQUIRE(right.answer == VerdictAnswer::agreed);
  CHECK(right.number->value == doctest::Approx(1).epsilon(1e-3));
  CHECK(right.number->high - right.number->low >= 2 * kZ95 * 0.01 * 0.999);
  CHECK(right.decided_on == hour(5));
  // An offset is in every charge alike: more charges do not make it smaller.
  std::vector<MeteredCharge> offset = charges;
  for (MeteredCharge& charge : offset) charge.u_offset_kwh = 0.02 * charge.words_kwh;
  const Figure wide = *judge_gain(offset).number;
  CHECK(std::pow((wide.high - wide.low) / 2 / kZ95, 2) ==
        doctest::Approx(std::pow((right.number->high - right.number->low) / 2 / kZ95, 2) + 0.0004)
            .epsilon(0.02));
  // A sensor that shows a tenth too little: the words lack it everywhere.
  for (MeteredCharge& charge : charges) charge.words_kwh *= 0.9;
  const Verdict weak = judge_gain(charges);
  CHECK(weak.answer == VerdictAnswer::agreed);
  CHECK(weak.number->value == doctest::Approx(1 / 0.9).epsilon(1e-3));
  CHECK(weak.evidence.find("more than sensors") != std::string::npos);
  // One note with the wrong charge.
  charges[1].meter_kwh = 40;
  const Verdict apart = judge_gain(charges);
  CHECK(apart.answer == VerdictAnswer::contradictory);
  CHECK_FALSE(apart.number.has_value());
  // Neither AC nor DC: the loss is not known.
  for (MeteredCharge& charge : charges) charge.kind = ChargeKind::unknown;
  CHECK(judge_gain(charges).answer == VerdictAnswer::too_little);
}

// E5: 0.5 A at 370 V for 1,800 s are 0.0925 kWh; definition.
TEST_CASE("gain: what charges say and what sensors usually are, each by its own uncertainty") {
  const EnergyRules rules;
  const double usual = std::hypot(rules.current_gain_u, rules.voltage_gain_u);
  // As sure as the usual spread: half of it is believed, and the width is 1/sqrt(2).
  const SensorGain even = sensor_gain_of(figure_of(1.01, usual, 0), rules);
  CHECK(even.energy == doctest::Approx(1.005));
  CHECK(even.u_energy == doctest::Approx(usual / std::sqrt(2.0)));
  // The current's share of the spread is four fifths.
  CHECK(even.charge == doctest::Approx(1.004));
  CHECK(even.u_charge < rules.current_gain_u);
  CHECK(even.u_charge > rules.current_gain_u / std::sqrt(2.0));
  // A charger whose loss is hardly known says hardly anything; a sure one all.
  CHECK(sensor_gain_of(figure_of(1.01, 0.1, 0), rules).u_energy ==
        doctest::Approx(usual).epsilon(0.01));
  CHECK(sensor_gain_of(figure_of(1.01, 1e-6, 0), rules).energy == doctest::Approx(1.01));
  // No sensor is usually off by a tenth: the charges alone.
  const SensorGain far = sensor_gain_of(figure_of(0.9, 0.01, 0), rules);
  CHECK(far.energy == 0.9);
  CHECK(far.charge == 0.9);
  CHECK(far.u_energy == doctest::Approx(0.01));
  CHECK(far.u_charge > 0.01);
}

TEST_CASE("gain: drawn sensors and chargers, the interval holds what is left in 95 of 100") {
  const EnergyRules rules;
  std::mt19937_64 random(20260105);
  std::normal_distribution<double> normal;
  constexpr int kVans = 4000;
  int energy_held = 0, charge_held = 0;
  double words_error2 = 0, error2 = 0;
  for (int i = 0; i < kVans; ++i) {
    const double current = 1 + rules.current_gain_u * normal(random);
    const double voltage = 1 + rules.voltage_gain_u * normal(random);
    const double u = 0.01;
    const double real = 1 / (current * voltage);
    const SensorGain gain = sensor_gain_of(figure_of(real + u * normal(random), u, 0), rules);
    energy_held += std::abs(gain.energy - real) <= kZ95 * gain.u_energy;
    charge_held += std::abs(gain.charge - 1 / current) <= kZ95 * gain.u_charge;
    words_error2 += (1 - real) * (1 - real);
    error2 += (gain.energy - real) * (gain.energy - real);
  }
  CAPTURE(energy_held);
  CAPTURE(charge_held);
  // 95 % of 4,000 is 3,800 with an sd of 14.
  CHECK(std::abs(energy_held - 3800) < 60);
  CHECK(std::abs(charge_held - 3800) < 60);
  CHECK(error2 < 0.8 * words_error2);
}

TEST_CASE("gain: goes into the reading that it is of, and only where it is agreed") {
  std::vector<PackReading> readings(2);
  readings[0].ecu = readings[1].ecu = 0x7E8;
  readings[0].calibration_id = "A";
  readings[1].calibration_id = "B";
  Verdict gain;
  gain.question = VerdictQuestion::gain;
  gain.ecu = 0x7E8;
  gain.calibration_id = "B";
  gain.number = figure_of(1.01, 0.01, 0);
  CHECK_FALSE(take_gains(std::vector{gain}, readings));
  gain.answer = VerdictAnswer::agreed;
  CHECK(take_gains(std::vector{gain}, readings));
  CHECK_FALSE(readings[0].gain);
  REQUIRE(readings[1].gain);
  CHECK(readings[1].gain->energy > 1);
}

TEST_CASE("verdicts: an agreed offset is out of the energy, to the last thousandth of an ampere") {
  for (const double offset_a : {0.5, 0.137, -0.26}) {
    for (const auto coding : {CurrentCoding::twos_complement, CurrentCoding::offset_binary}) {
      for (const auto sign : {CurrentSign::discharge_positive, CurrentSign::discharge_negative}) {
        Episode episode;
        for (int s = 0; s <= 1800; ++s)
          add_pack_row(episode, s * 1000, 370, 10, 1000, coding, sign);
        close_episode(episode);
        PackReading reading = agreed_reading();
        reading.coding = coding;
        reading.sign = sign;
        const PowerIntegral raw = integral_of(episode, reading);
        reading.offset = SensorOffset{offset_a, 0.02};
        const PowerIntegral mended = integral_of(episode, reading);
        CHECK(raw.net_kwh() - mended.net_kwh() ==
              doctest::Approx(offset_a * 370 * 0.5 / 1000).scale(0).epsilon(1e-9));
        CHECK(raw.net_ah() - mended.net_ah() ==
              doctest::Approx(offset_a * 0.5).scale(0).epsilon(1e-9));
        CHECK(mended.discharge_kwh() - mended.charge_kwh() == doctest::Approx(mended.net_kwh()));
        CHECK(mended.charge_kwh() == 0);
        // Its own uncertainty takes the place of the usual one.
        const EnergyRules rules;
        const double half = (raw.net_figure_kwh(rules).high - raw.net_figure_kwh(rules).low) / 2;
        const double mended_half =
            (mended.net_figure_kwh(rules).high - mended.net_figure_kwh(rules).low) / 2;
        CHECK(half > kZ95 * 0.3 * 370 * 0.5 / 1000 * 0.999);
        CHECK(mended_half < half / 3);
      }
    }
  }
}

TEST_CASE("verdicts: lobes stay whole where an offset turns a standing load round") {
  // 0.2 A of load, a sensor that shows 0.3 A too little: it reads a charge.
  Episode episode;
  for (int s = 0; s <= 3600; ++s) add_pack_row(episode, s * 1000, 380, -0.1, 1000);
  close_episode(episode);
  PackReading reading = agreed_reading();
  for (const double offset_a : {-0.3, -0.14}) {
    reading.offset = SensorOffset{offset_a, 0.02};
    const PowerIntegral integral = integral_of(episode, reading);
    CHECK(integral.net_kwh() == doctest::Approx((-0.1 - offset_a) * 0.38).scale(0).epsilon(1e-9));
    CHECK(integral.discharge_kwh() == doctest::Approx((-0.1 - offset_a) * 0.38));
    CHECK(std::abs(integral.charge_kwh()) < 1e-12);
    CHECK(integral.discharge_ah() == doctest::Approx(-0.1 - offset_a));
    CHECK(std::abs(integral.charge_ah()) < 1e-12);
  }
}

}  // namespace packmile
