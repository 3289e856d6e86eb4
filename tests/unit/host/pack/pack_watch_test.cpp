// The walk over episodes: what is gathered, and where parts belong together.
#include "pack/pack_watch.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <random>
#include <string>

#include "host/pack/week_scene.hpp"
#include "host/reading/replay.hpp"
#include "pack/assessment.hpp"
#include "pack/trend.hpp"

namespace packmile::testing {
namespace {

// Two stretches a day: 1.5 h of driving and 3 h of charging, each after a rest.
void live(PackWatch& watch, Week& week, int days, const std::string& calibration_id = {}) {
  for (int day = 0; day < days; ++day) {
    Episode drive = week.stretch(50, 1.5, 30);
    drive.pack.calibration_id = calibration_id;
    watch.add(drive);
    week.sleep(8);
    Episode charge = week.stretch(-25, 3);
    charge.pack.calibration_id = calibration_id;
    watch.add(charge);
    week.sleep(11.5);
  }
}

VanFacts facts_of_150_ah() {
  VanFacts facts;
  facts.nominal_ah = 150;
  facts.onboard_charger_kw = 11;
  return facts;
}

// First to second part of an episode, cut before a moment.
std::pair<Episode, Episode> cut_in_two(const Episode& whole, std::int64_t at_ms) {
  Episode first, second;
  const auto split = [&](const SignalSeries& from, SignalSeries& a, SignalSeries& b) {
    for (std::size_t i = 0; i < from.raw.size(); ++i) {
      add_sample(from.time_ms[i] < at_ms ? a : b, from.time_ms[i], from.raw[i]);
    }
  };
  split(whole.soc, first.soc, second.soc);
  split(whole.odometer, first.odometer, second.odometer);
  split(whole.ambient, first.ambient, second.ambient);
  for (std::size_t i = 0; i < whole.pack.time_ms.size(); ++i) {
    PackSeries& part = (whole.pack.time_ms[i] < at_ms ? first : second).pack;
    part.time_ms.push_back(whole.pack.time_ms[i]);
    part.v_raw.push_back(whole.pack.v_raw[i]);
    part.a_raw.push_back(whole.pack.a_raw[i]);
    part.period_ms.push_back(whole.pack.period_ms[i]);
  }
  first.pack.ecu = second.pack.ecu = whole.pack.ecu;
  close_episode(first);
  close_episode(second);
  first.cut = true;
  return {first, second};
}

}  // namespace

TEST_CASE("pack watch: charges, profiles, rests and steps of two months") {
  PackWatch watch{facts_of_150_ah(), {agreed_reading()}};
  Week week;
  live(watch, week, 36);
  const PackObservations found = watch.finish();
  REQUIRE(found.charges.size() == 36);
  for (const ChargeCapacity& charge : found.charges) {
    REQUIRE(charge.ah.figure);
    CHECK(charge.ah.figure->value == doctest::Approx(150).epsilon(0.003));
    CHECK(charge.kind == ChargeKind::ac);
    CHECK(charge.segment == 0);
    CHECK(charge.ambient_c == 18);
    CHECK(charge.odometer_km == doctest::Approx(40'000));
  }
  CHECK(found.profiles.size() == 36);
  CHECK(found.rests.pairs.size() > 60);
  CHECK(found.re_anchors.empty());
  REQUIRE(found.resistances.size() == 2);
  CHECK(found.resistances[0].month + 1 == found.resistances[1].month);
  REQUIRE(found.resistances[0].rows.front().mohm.figure);
  CHECK(found.resistances[0].rows.front().mohm.figure->value == doctest::Approx(90).epsilon(0.05));

  PackFacts facts;
  facts.usable_ah = 150;
  const PackAssessment told = assess_pack(found, facts);
  REQUIRE(told.capacity.edges_ah);
  REQUIRE(told.capacity.rest_ah);
  CHECK(told.capacity.edges_ah->low < 150);
  CHECK(told.capacity.edges_ah->high > 150);
  CHECK(told.capacity.rest_ah->value == doctest::Approx(150).epsilon(0.01));
  CHECK(told.witness.verdict == WitnessVerdict::too_little);
  // Nothing is left from before.
  CHECK(watch.finish().charges.empty());
}

TEST_CASE("pack watch: the state of charge counts in the episode's own steps") {
  PackWatch watch{facts_of_150_ah(), {agreed_reading()}};
  Week week;
  for (int day = 0; day < 3; ++day) {
    for (const double amps : {50.0, -25.0}) {
      Episode episode = week.stretch(amps, amps > 0 ? 1.5 : 3);
      // Codes of 100/255 told again in steps of 100/510: half as long, never odd.
      for (std::uint32_t& raw : episode.soc.raw) raw *= 2;
      episode.soc_step_pct = kSocPctPerCode / 2;
      watch.add(episode);
      week.sleep(8);
    }
  }
  const PackObservations found = watch.finish();
  REQUIRE(found.charges.size() == 3);
  for (const ChargeCapacity& charge : found.charges) {
    REQUIRE(charge.ah.figure);
    CHECK(charge.ah.figure->value == doctest::Approx(150).epsilon(0.005));
    CHECK(charge.window_high_pct <= 100);
  }
  REQUIRE(!found.rests.pairs.empty());
  CHECK(found.rests.pairs[0].ah.value == doctest::Approx(150).epsilon(0.02));
}

TEST_CASE("pack watch: an offset that the reading takes off is found as it was measured") {
  PackReading reading = agreed_reading();
  Week week;
  week.sensor_a = 0.44;
  PackWatch plain{facts_of_150_ah(), {reading}};
  reading.offset = SensorOffset{0.44, 0.02};  // 0.4 A of it leave the rows
  PackWatch taken_off{facts_of_150_ah(), {reading}};
  for (int day = 0; day < 4; ++day) {
    for (const double amps : {50.0, -25.0}) {
      const Episode episode = week.stretch(amps, amps > 0 ? 1.5 : 3);
      plain.add(episode);
      taken_off.add(episode);
      week.sleep(8);
    }
  }
  const PackObservations measured = plain.finish();
  const PackObservations same = taken_off.finish();
  REQUIRE(same.charges.size() == 4);
  REQUIRE(measured.charges.size() == 4);
  CHECK(same.charges[0].point.y == doctest::Approx(measured.charges[0].point.y).epsilon(1e-6));
  REQUIRE(same.rests.pairs.size() == measured.rests.pairs.size());
  REQUIRE(!same.rests.pairs.empty());
  for (std::size_t i = 0; i < same.rests.pairs.size(); ++i) {
    CHECK(same.rests.pairs[i].point.y ==
          doctest::Approx(measured.rests.pairs[i].point.y).epsilon(1e-6));
  }
}

TEST_CASE("pack watch: a charge that the end of an episode cuts is one charge") {
  Week week;
  week.soc = week.shown = 0.3;
  const Episode whole = week.stretch(-25, 3);
  PackWatch one{facts_of_150_ah(), {agreed_reading()}};
  one.add(whole);
  const auto at_once = one.finish();
  REQUIRE(at_once.charges.size() == 1);
  PackWatch two{facts_of_150_ah(), {agreed_reading()}};
  const auto [first, second] = cut_in_two(whole, whole.pack.time_ms[5'000]);
  two.add(first);
  two.add(second);
  const auto joined = two.finish();
  REQUIRE(joined.charges.size() == 1);
  CHECK(joined.charges[0].ah.figure->value ==
        doctest::Approx(at_once.charges[0].ah.figure->value).epsilon(1e-6));
  CHECK(joined.charges[0].n_edges == at_once.charges[0].n_edges);
}

TEST_CASE("pack watch: another calibration is another segment") {
  PackReading reading = agreed_reading();
  PackReading other = reading;
  reading.calibration_id = "A";
  other.calibration_id = "B";
  PackWatch watch{facts_of_150_ah(), {reading, other}};
  Week week;
  live(watch, week, 2, "A");
  live(watch, week, 2, "B");
  const PackObservations found = watch.finish();
  REQUIRE(found.charges.size() == 4);
  CHECK(found.charges[1].segment == 0);
  CHECK(found.charges[2].segment == 1);
  for (const RestToRest& pair : found.rests.pairs) CHECK(pair.ah.value > 140);
}

TEST_CASE("pack watch: nothing is made of a current that is not proven") {
  PackReading reading = agreed_reading();
  reading.verdict = CurrentVerdict::too_little;
  PackWatch watch{facts_of_150_ah(), {reading}};
  Week week;
  live(watch, week, 3);
  const PackObservations found = watch.finish();
  for (const ChargeCapacity& charge : found.charges) CHECK_FALSE(charge.ah.figure);
  CHECK(found.profiles.empty());
  CHECK(found.rests.points.empty());
  CHECK(found.resistances.empty());
  CHECK(PackWatch{{}, {}}.finish().charges.empty());
}

TEST_CASE("pack watch: a change of mind in a charge is listed once") {
  Week week;
  week.soc = week.shown = 0.3;
  Episode episode = week.stretch(-25, 3);
  for (std::size_t i = 500; i < episode.soc.raw.size(); ++i) episode.soc.raw[i] += 12;
  PackWatch watch{facts_of_150_ah(), {agreed_reading()}};
  watch.add(episode);
  const PackObservations found = watch.finish();
  REQUIRE(found.charges.size() == 1);
  CHECK(found.charges[0].refusal == CapacityRefusal::re_anchored);
  REQUIRE(found.re_anchors.size() == 1);
  CHECK(found.re_anchors[0].soc_after_pct - found.re_anchors[0].soc_before_pct ==
        doctest::Approx(12 * 100 / 255.0).epsilon(0.15));
}

// Any words and any times in order: no crash, no hang, no figure that is no number.
TEST_CASE("pack watch: nonsense is survived") {
  std::mt19937 random{13};  // seed 13
  PackWatch watch{facts_of_150_ah(), {agreed_reading()}};
  std::int64_t t_ms = kReplayStartMs;
  for (int round = 0; round < 60; ++round) {
    Episode episode;
    const auto rows = random() % 3'000;
    const auto longest_ms = round % 3 == 0 ? 2 : 20'000;
    for (unsigned i = 0; i < rows; ++i) {
      add_pack_row(episode, t_ms, double(random() % 65'536) / 64,
                   round % 2 == 0 ? -20.0 - double(random() % 3) : double(random() % 6'000) - 3'000,
                   static_cast<std::uint32_t>(random() % 3 * 1'000));
      if (random() % 2 == 0) {
        add_sample(episode.soc, t_ms,
                   static_cast<std::uint32_t>(round % 4 == 0 ? i * 255 / 3'000 : random() % 256));
      }
      if (random() % 7 == 0)
        add_sample(episode.ambient, t_ms, static_cast<std::uint32_t>(random() % 256));
      if (random() % 7 == 0) add_sample(episode.odometer, t_ms, std::uint32_t(random()));
      t_ms += static_cast<std::int64_t>(random() % longest_ms);
    }
    close_episode(episode);
    episode.cut = random() % 5 == 0;
    watch.add(episode);
    t_ms += static_cast<std::int64_t>(random() % 40'000'000);
  }
  PackFacts facts;
  facts.usable_ah = 150;
  facts.first_used = UtcTime{std::chrono::milliseconds{kReplayStartMs}};
  facts.expectations = {{FadeAxis::odometer_km, {{1, 1}, {1, 2}, {0.5, 3}}}};
  const PackAssessment told = assess_pack(watch.finish(), facts);
  for (const CapacityRow& row : told.capacity.rows) {
    CHECK((row.ah.figure ? std::isfinite(row.ah.figure->value + row.ah.figure->high)
                         : !row.ah.why.empty()));
  }
  for (const FadeRow& row : told.fade) {
    CHECK((row.measured_pct.figure ? std::isfinite(row.measured_pct.figure->high)
                                   : !row.measured_pct.why.empty()));
  }
}

// A state of charge that is answered a thousand times a second.
TEST_CASE("pack watch: crowded answers take no longer than their number") {
  Week week;
  week.soc = week.shown = 0.2;
  Episode episode = week.stretch(-25, 1);
  const std::int64_t first_ms = episode.soc.time_ms.front();
  episode.soc = {};
  for (int i = 0; i < 1'000'000; ++i) {
    add_sample(episode.soc, first_ms + i, 60 + static_cast<std::uint32_t>(i % 3));
  }
  PackWatch watch{facts_of_150_ah(), {agreed_reading()}};
  watch.add(episode);
  CHECK(watch.finish().charges.size() == 1);
}

// The state of charge of these drives is a plain count; one of them contradicts
// its current by the account of its origin.
TEST_CASE("pack watch: no measured drive is taken for a change of mind") {
  if (!data_is_there()) {
    MESSAGE("no measured data beside the project: skipped");
    return;
  }
  std::size_t n_drives = 0;
  for (const std::string& file : files_named("drive-i3-")) {
    if (file == "drive-i3-B02.csv") continue;
    CAPTURE(file);
    VanFacts facts;
    facts.nominal_ah = 61.8;
    PackWatch watch{facts, {agreed_reading()}};
    watch.add(replay(file));
    CHECK(watch.finish().re_anchors.empty());
    ++n_drives;
  }
  CHECK(n_drives >= 43);
}

TEST_CASE("pack watch: measured charges go the same way") {
  if (!data_is_there()) {
    MESSAGE("no measured data beside the project: skipped");
    return;
  }
  const auto truth = read_truth();
  for (const std::string& file :
       {std::string("charge-dc-b-pack.csv"), std::string("charge-lab-B0005-c050.csv")}) {
    CAPTURE(file);
    PackWatch watch{{}, {agreed_reading()}};
    watch.add(replay(file));
    const PackObservations found = watch.finish();
    REQUIRE(found.charges.size() == 1);
    const ChargeCapacity& charge = found.charges[0];
    // The real one covers eight points: no capacity from that.
    if (file == "charge-dc-b-pack.csv") {
      CHECK(charge.refusal == CapacityRefusal::small_window);
    } else {
      CHECK(charge.ah.figure->value == doctest::Approx(53.18).epsilon(0.005));
      CHECK(found.profiles.size() == 1);
    }
  }
}

TEST_CASE("pack watch: what the van says of itself is kept once a month, the last of it") {
  PackWatch watch{facts_of_150_ah(), {agreed_reading()}};
  Week week;
  double says_ah = 150;
  std::vector<UtcTime> last;
  for (int day = 0; day < 62; ++day) {
    Episode drive = week.stretch(50, 1.5, 30);
    for (const double value : {says_ah, says_ah - 0.1}) {
      drive.reported.time_ms.push_back(drive.start.time_since_epoch().count() + 60'000);
      drive.reported.value.push_back(value);
    }
    watch.add(drive);
    week.sleep(8);
    watch.add(week.stretch(-25, 3));
    week.sleep(11.5);
    says_ah -= 0.01;
  }
  const PackObservations found = watch.finish();
  REQUIRE(found.reported.size() >= 2);
  CHECK(found.reported.size() <= 4);
  for (std::size_t i = 1; i < found.reported.size(); ++i)
    CHECK(month_of(found.reported[i].at, {}) == month_of(found.reported[i - 1].at, {}) + 1);
  CHECK(found.reported.back().value == doctest::Approx(150 - 0.61 - 0.1));
  CHECK_FALSE(found.reported.back().in_kwh);
}

}  // namespace packmile::testing
