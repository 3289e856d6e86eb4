#include "reading/offset_watch.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <random>

#include "host/reading/replay.hpp"
#include "reading/pack_reading.hpp"

namespace packmile {

using testing::add_pack_row;
using testing::add_sample;
using testing::close_episode;
using testing::kReplayStartMs;
using testing::replay;
using testing::ReplayOptions;

namespace {

// A van that drives and charges, hour by hour of the true current; its sensor
// adds an offset, its logger hears all of it.
class Van {
 public:
  double offset_a = 0;
  double capacity_ah = 160;
  CurrentCoding coding = CurrentCoding::twos_complement;
  CurrentSign sign = CurrentSign::discharge_positive;
  double asleep_loses_pct = 0;  // in each sleep
  double volt_creeps_v = 0;     // of the rest voltage, each day
  std::vector<Episode> episodes;

  // Discharge positive. Small noise of the current, seeded.
  void awake(double hours, double amps, std::int64_t period_ms) {
    Episode episode;
    episode.pack.ecu = 0x7EC;
    const auto end_ms = now_ms_ + static_cast<std::int64_t>(hours * 3.6e6);
    // Wakes without a load; then the current follows the acceleration.
    double before = 0.4;
    for (bool first = true; now_ms_ < end_ms; now_ms_ += period_ms, first = false) {
      const double t = static_cast<double>(now_ms_) / 5000;
      const double a =
          first ? before : amps + (amps > 0 ? 0.9 * amps * std::cos(t) : 0.0) + noise_(random_);
      const double hours_ago = first ? 0 : static_cast<double>(period_ms) / 3.6e6;
      pct_ -= (before + a) / 2 * hours_ago / capacity_ah * 100;
      pct_ = std::min(pct_, 100.0);
      before = a;
      const double v = 320 + 0.6 * pct_ + creep_v_ - 0.09 * a;
      add_pack_row(episode, now_ms_, v, a + offset_a, static_cast<std::uint32_t>(period_ms), coding,
                   sign);
      if (now_ms_ % 5000 < period_ms)
        add_sample(episode.soc, now_ms_, static_cast<std::uint32_t>(std::floor(pct_ * 2.55)));
      add_sample(episode.speed, now_ms_,
                 amps > 0 ? static_cast<std::uint32_t>(40 + 15 * std::sin(t)) : 0);
      if (amps > 0) km_ += 40.0 * static_cast<double>(period_ms) / 3.6e6;
      if (now_ms_ % 5000 < period_ms)
        add_sample(episode.odometer, now_ms_, static_cast<std::uint32_t>(km_ * 10));
    }
    close_episode(episode);
    episodes.push_back(std::move(episode));
  }
  void sleep(double hours) {
    now_ms_ += static_cast<std::int64_t>(hours * 3.6e6);
    pct_ -= asleep_loses_pct;
    creep_v_ += volt_creeps_v * hours / 24;
  }
  // A day of 60 Ah out and what it takes to be at 90 % again.
  void day(double charge_a) {
    awake(1.5, 20, 500);
    sleep(1);
    awake(1.5, 20, 500);
    sleep(2);
    awake((90 - pct_) / 100 * capacity_ah / charge_a, -charge_a, 5000);
    sleep(9);
  }

  [[nodiscard]] PackReading read() const {
    PackEvidence evidence;
    for (const Episode& episode : episodes) evidence.observe(episode);
    const auto readings = evidence.decide();
    REQUIRE(readings.size() == 1);
    return readings[0];
  }

 private:
  std::mt19937 random_{5};
  std::normal_distribution<double> noise_{0, 0.05};
  std::int64_t now_ms_ = kReplayStartMs;
  double pct_ = 90;
  double creep_v_ = 0;
  double km_ = 41'000;
};

const Verdict& offset_row(const PackReading& reading) {
  for (const Verdict& verdict : reading.verdicts)
    if (verdict.question == VerdictQuestion::offset_a) return verdict;
  REQUIRE(false);
  return reading.verdicts.front();
}

}  // namespace

// Q5: six charges of a pack of 150 Ah with 0.30 A. Source: numpy lstsq.
TEST_CASE("offset: capacity and offset from charges of different power") {
  const double share[] = {.42, .55, .31, .60, .48, .25};
  const double hours[] = {3.36, 4.40, 2.48, .96, .768, .40};
  const double ah[] = {64.058, 83.74, 47.284, 90.318, 72.1704, 37.64};
  std::vector<ChargeRise> charges;
  for (int i = 0; i < 6; ++i) charges.push_back({share[i], ah[i], hours[i], 0, 0.05});
  const auto fit = fit_capacity_and_offset(charges, false);
  REQUIRE(fit);
  CHECK(fit->ah == doctest::Approx(149.993504).scale(0).epsilon(1e-8));
  CHECK(fit->offset_a == doctest::Approx(0.298508).scale(0).epsilon(1e-5));
  CHECK(fit->u_ah == doctest::Approx(0.097354).scale(0).epsilon(1e-4));
  CHECK(fit->u_offset_a == doctest::Approx(0.017393).scale(0).epsilon(1e-4));
  // Slow ones alone are too like each other; two tell nothing.
  CHECK_FALSE(fit_capacity_and_offset(std::span{charges}.first(3), false).has_value());
  CHECK_FALSE(fit_capacity_and_offset(std::span{charges}.subspan(2, 2), true).has_value());
  // Weighted alike it is the same line.
  for (ChargeRise& charge : charges) charge.u_ah = 5;
  const auto weighted = fit_capacity_and_offset(charges, true);
  REQUIRE(weighted);
  CHECK(weighted->ah == doctest::Approx(149.993504).scale(0).epsilon(1e-8));
}

// By hand: hypot(0.0016 * 160 * sqrt 2, 0.001 * 2600, 0.0005 * 5200) / 180.
TEST_CASE("offset: what a month's balance leaves open") {
  CHECK(u_of_balance_a({160, 0.0016, 2600, 2.6, 180}) ==
        doctest::Approx(0.020526).scale(0).epsilon(1e-4));
}

TEST_CASE("offset: found within 0.02 A and taken for what it is, whatever the coding and sign") {
  for (const double offset_a : {0.0, 0.43, -0.3}) {
    for (const auto coding : {CurrentCoding::twos_complement, CurrentCoding::offset_binary}) {
      for (const auto sign : {CurrentSign::discharge_positive, CurrentSign::discharge_negative}) {
        Van van;
        van.offset_a = offset_a;
        van.coding = coding;
        van.sign = sign;
        for (int d = 0; d < 12; ++d) van.day(d % 3 == 0 ? 60 : 20);
        const PackReading reading = van.read();
        const Verdict& row = offset_row(reading);
        CAPTURE(reading.evidence);
        CAPTURE(row.evidence);
        REQUIRE(row.answer == VerdictAnswer::agreed);
        REQUIRE(reading.offset.has_value());
        CHECK(std::abs(reading.offset->a - offset_a) < 0.02);
        CHECK(std::abs(reading.offset->a - offset_a) < 2 * reading.offset->u_a);
        // The controller of this van repeats: surer than a point at either end would leave it
        // in the 60 h at most that it is awake.
        CHECK(reading.offset->u_a < std::sqrt(2.0) * kSocAtRestU * 160 / 60);
        CHECK(row.number->low == doctest::Approx(reading.offset->a - kZ95 * reading.offset->u_a));
      }
    }
  }
}

TEST_CASE("offset: one that wanders by more than it is worth is not taken out, and it says so") {
  Van van;
  for (int d = 0; d < 12; ++d) {
    van.offset_a = 0.6 * std::sin(2 * 3.14159265 * d / 9);
    van.day(d % 3 == 0 ? 60 : 20);
  }
  const PackReading reading = van.read();
  const Verdict& row = offset_row(reading);
  CAPTURE(row.evidence);
  CHECK(row.answer == VerdictAnswer::contradictory);
  CHECK(row.evidence.find("drifts") != std::string::npos);
  CHECK_FALSE(reading.offset.has_value());
}

// A rest voltage that creeps leaves no two rests alike. 0.2 A of swing, 0.14 A root mean
// square.
TEST_CASE("offset: what differs from charge to charge is told where the offset is not") {
  const auto reading_of = [](double swing_a) {
    Van van;
    van.volt_creeps_v = 3;
    for (int d = 0; d < 9; ++d) {
      van.offset_a = 0.4 + swing_a * std::sin(2 * 3.14159265 * d / 9);
      van.day(20);
    }
    return van.read();
  };
  const PackReading still = reading_of(0), swinging = reading_of(0.2);
  CAPTURE(offset_row(swinging).evidence);
  REQUIRE_FALSE(swinging.offset.has_value());
  REQUIRE_FALSE(still.offset.has_value());
  CHECK(still.offset_wander_a == 0);
  CHECK(swinging.offset_wander_a > 0.11);
  CHECK(swinging.offset_wander_a < 0.22);
}

TEST_CASE("offset: one that wanders a little is told less surely") {
  const auto offset_of = [](double swing_a) {
    Van van;
    for (int d = 0; d < 28; ++d) {
      van.offset_a = 0.5 + swing_a * std::sin(2 * 3.14159265 * d / 28);
      van.day(d % 3 == 0 ? 60 : 20);
    }
    const PackReading reading = van.read();
    CAPTURE(offset_row(reading).evidence);
    REQUIRE(reading.offset.has_value());
    CHECK(std::abs(reading.offset->a - 0.5) < kZ95 * reading.offset->u_a);
    return *reading.offset;
  };
  const SensorOffset still = offset_of(0), wandering = offset_of(0.15);
  CHECK(still.u_a < 0.03);
  CHECK(wandering.u_a > 0.05);
  CHECK(wandering.u_a < 0.15);
}

// Slow charges of one power, every night to another state of charge: no two rests in a
// row tell that the offset swings, the charges do. In the nine days of a swing it is on
// most of them further from the mean than the balance of all of them is sure.
TEST_CASE("offset: charges of like power tell that it swings, and each day is then less sure") {
  const auto offset_of = [](double swing_a) {
    Van van;
    for (int d = 0; d < 18; ++d) {
      van.offset_a = 0.4 + swing_a * std::sin(2 * 3.14159265 * d / 9);
      van.day(20);
    }
    const PackReading reading = van.read();
    CAPTURE(offset_row(reading).evidence);
    REQUIRE(reading.offset.has_value());
    CHECK(std::abs(reading.offset->a - 0.4) < 0.05);
    CHECK((offset_row(reading).evidence.find("from charge to charge") != std::string::npos) ==
          (swing_a > 0));
    return *reading.offset;
  };
  const SensorOffset still = offset_of(0), swinging = offset_of(0.2);
  CHECK(still.u_a < 0.06);
  // The swing's own root mean square is 0.14 A.
  CHECK(swinging.u_a > 0.11);
  CHECK(swinging.u_a < 0.22);
}

// A pack that fades by a twentieth in a year, under an offset that stays as it is.
TEST_CASE("offset: a pack that fades is no offset that wanders") {
  Van van;
  van.offset_a = 0.3;
  for (int d = 0; d < 120; ++d) {
    van.capacity_ah = 160 * (1 - 0.05 * d / 365);
    van.day(20);
  }
  const Verdict row = offset_row(van.read());
  CAPTURE(row.evidence);
  CHECK(row.evidence.find("from charge to charge") == std::string::npos);
}

TEST_CASE("offset: less than 20 h awake is too little, and it says so") {
  Van van;
  van.offset_a = 0.4;
  for (int d = 0; d < 3; ++d) van.day(60);
  const PackReading reading = van.read();
  CHECK_FALSE(reading.offset.has_value());
  CHECK(offset_row(reading).answer == VerdictAnswer::too_little);
  CHECK(offset_row(reading).evidence.find("20 are needed") != std::string::npos);
}

TEST_CASE("offset: above 2 A it is a fault and not taken out") {
  Van van;
  van.offset_a = 2.6;
  for (int d = 0; d < 12; ++d) van.day(20);
  const PackReading reading = van.read();
  CHECK(offset_row(reading).answer == VerdictAnswer::contradictory);
  CHECK_FALSE(offset_row(reading).number.has_value());
  CHECK_FALSE(reading.offset.has_value());
}

TEST_CASE("offset: a charge that leaves asleep is not the sensor's") {
  Van van;
  van.asleep_loses_pct = 0.3;
  for (int d = 0; d < 12; ++d) van.day(20);
  const PackReading reading = van.read();
  CAPTURE(offset_row(reading).evidence);
  if (reading.offset) CHECK(std::abs(reading.offset->a) < 2 * reading.offset->u_a);
  Van empties;
  empties.asleep_loses_pct = 1.5;  // more than a code: every sleep breaks the span
  for (int d = 0; d < 12; ++d) empties.day(20);
  CHECK_FALSE(empties.read().offset.has_value());
}

TEST_CASE("offset: nothing balances against a count that moved by its rest voltage") {
  Van van;
  van.offset_a = 0.4;
  van.volt_creeps_v = 4;
  for (int d = 0; d < 12; ++d) van.day(20);
  const PackReading reading = van.read();
  CAPTURE(offset_row(reading).evidence);
  CHECK_FALSE(reading.offset.has_value());
  CHECK(offset_row(reading).evidence.find("voltage at rest") != std::string::npos);
}

TEST_CASE("offset: answers that are missing from a span spoil it") {
  Van van;
  van.offset_a = 0.4;
  for (int d = 0; d < 12; ++d) van.day(20);
  for (Episode& episode : van.episodes) {
    // Six minutes in the middle of each.
    PackSeries& pack = episode.pack;
    const auto at = static_cast<std::ptrdiff_t>(pack.time_ms.size() / 2);
    const auto n = static_cast<std::ptrdiff_t>(360'000 / pack.period_ms[0]);
    if (at + n >= static_cast<std::ptrdiff_t>(pack.time_ms.size())) continue;
    pack.time_ms.erase(pack.time_ms.begin() + at, pack.time_ms.begin() + at + n);
    pack.v_raw.erase(pack.v_raw.begin() + at, pack.v_raw.begin() + at + n);
    pack.a_raw.erase(pack.a_raw.begin() + at, pack.a_raw.begin() + at + n);
    pack.period_ms.erase(pack.period_ms.begin() + at, pack.period_ms.begin() + at + n);
  }
  const PackReading reading = van.read();
  CAPTURE(offset_row(reading).evidence);
  CHECK_FALSE(reading.offset.has_value());
  CHECK(offset_row(reading).evidence.find("2 %") != std::string::npos);
}

// Measured drives with made charges between: 2 Hz, a pack of 61.8 Ah, codes of
// 1/255. Source of the method and of its widths (sd 0.003 A, 0.008 A with losses):
// the same traces by numpy.
TEST_CASE("offset: measured drives and made charges give it back") {
  if (!testing::data_is_there()) {
    MESSAGE("no measured data beside the project: skipped");
    return;
  }
  constexpr double kAh = 61.8;
  for (const int offset_tenths : {0, 4, -3}) {
    PackEvidence evidence;
    std::mt19937 random{17};
    std::normal_distribution<double> noise{0, 0.05};
    std::int64_t now_ms = kReplayStartMs;
    double share = 0.9;
    double awake_h = 0;
    double odometer_km = 40'000;
    for (const std::string& file : testing::files_named("drive-i3-")) {
      if (file.find("B34") != std::string::npos) continue;
      ReplayOptions options;
      options.hz = 2;
      options.soc_answered = false;
      options.odometer_start_km = odometer_km;
      Episode drive = replay(file, options);
      odometer_km = drive.odometer.raw.back() / 10.0;
      // The state of charge is made up, so the voltage at rest is too.
      const double rest_v = 380 + 40 * (share - 0.9);
      drive.pack.v_raw.front() = static_cast<std::uint16_t>(rest_v / kVoltPerCode);
      const std::int64_t shift_ms = now_ms - drive.pack.time_ms.front();
      double taken_ah = 0;
      const auto soc = [&](Episode& episode, std::int64_t t_ms) {
        add_sample(episode.soc, t_ms, static_cast<std::uint32_t>(std::floor(share * 255)));
      };
      for (std::size_t i = 0; i < drive.pack.time_ms.size(); ++i) {
        const auto tenths = static_cast<std::int16_t>(drive.pack.a_raw[i]);
        if (i > 0) {
          const double hours =
              static_cast<double>(drive.pack.time_ms[i] + shift_ms - drive.pack.time_ms[i - 1]) /
              3.6e6;
          const double before = static_cast<std::int16_t>(drive.pack.a_raw[i - 1]) - offset_tenths;
          taken_ah += (before + tenths) / 20.0 * hours;
          share -= (before + tenths) / 20.0 * hours / kAh;
        }
        drive.pack.time_ms[i] += shift_ms;
        if (i % 10 == 0) soc(drive, drive.pack.time_ms[i]);
        drive.pack.a_raw[i] =
            static_cast<std::uint16_t>(static_cast<std::int16_t>(tenths + offset_tenths));
      }
      for (auto* series : {&drive.speed, &drive.odometer, &drive.ambient})
        for (std::int64_t& t_ms : series->time_ms) t_ms += shift_ms;
      close_episode(drive);
      awake_h += static_cast<double>((drive.end - drive.start).count()) / 3.6e6;
      evidence.observe(drive);
      now_ms = drive.pack.time_ms.back() + 3'600'000;

      Episode charge;
      const double hours = taken_ah / 20;
      double before_a = 0;
      for (std::int64_t t = 0; t < static_cast<std::int64_t>(hours * 3.6e6); t += 5000) {
        const double a = t == 0 ? 0 : -20 + noise(random);
        if (t > 0) share -= (before_a + a) / 2 * 5 / 3600 / kAh;
        before_a = a;
        add_pack_row(charge, now_ms + t, 380 + 40 * (share - 0.9), a + offset_tenths / 10.0, 5000);
        if (t % 10'000 == 0) soc(charge, now_ms + t);
        if (t % 60'000 == 0) add_sample(charge.odometer, now_ms + t, drive.odometer.raw.back());
      }
      close_episode(charge);
      awake_h += hours;
      evidence.observe(charge);
      now_ms = charge.pack.time_ms.back() + 8 * 3'600'000;
    }
    const auto readings = evidence.decide();
    REQUIRE(readings.size() == 1);
    CAPTURE(readings[0].evidence);
    const Verdict& row = offset_row(readings[0]);
    std::printf("offset %+.1f A, %.1f h awake: %s: %s\n", offset_tenths / 10.0, awake_h,
                std::string(word_of(row.answer)).c_str(), row.evidence.c_str());
    CAPTURE(row.evidence);
    REQUIRE(readings[0].offset.has_value());
    CHECK(std::abs(readings[0].offset->a - offset_tenths / 10.0) < 0.03);
    CHECK(std::abs(readings[0].offset->a - offset_tenths / 10.0) < kZ95 * readings[0].offset->u_a);
  }
}

}  // namespace packmile
