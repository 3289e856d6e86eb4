#include "reading/pack_reading.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <random>

#include "host/reading/model_drive.hpp"

namespace packmile {

using testing::add_pack_row;
using testing::add_sample;
using testing::close_episode;
using testing::kReplayStartMs;
using testing::model_drive;
using testing::ModelDrive;
using testing::replay;
using testing::ReplayOptions;

doctest::String toString(CurrentVerdict verdict) { return std::string(word_of(verdict)).c_str(); }
doctest::String toString(CurrentCoding coding) { return std::string(word_of(coding)).c_str(); }
doctest::String toString(CurrentSign sign) { return std::string(word_of(sign)).c_str(); }

namespace {

PackReading read(const std::vector<Episode>& episodes) {
  PackEvidence evidence;
  for (const Episode& episode : episodes) evidence.observe(episode);
  const auto readings = evidence.decide();
  REQUIRE(readings.size() == 1);
  return readings[0];
}

constexpr int kAlways = 1 << 30;

struct Charge {
  double amps = -20;  // as the word says, two's complement
  double seconds = 7200;
  double ah_per_code = 0.6;
  double real_amps = 20;  // what moves the SoC
  bool speed = true;
  std::uint32_t first_code = 100;
  int soc_stops_after = kAlways;  // codes
};

Episode charge(const Charge& c) {
  Episode episode;
  for (std::int64_t s = 0; s < static_cast<std::int64_t>(c.seconds); ++s) {
    const std::int64_t t = kReplayStartMs + s * 1000;
    // A little noise, as every reading has.
    add_pack_row(episode, t, 380 + static_cast<double>(s) / 500,
                 c.amps == 0 ? 0 : c.amps + 0.1 * static_cast<double>(s % 3), 1000);
    if (c.speed && s % 10 == 0) add_sample(episode.speed, t, 0);
    if (s % 10 == 0) {
      const int codes =
          static_cast<int>(c.real_amps * static_cast<double>(s) / 3600 / c.ah_per_code);
      add_sample(episode.soc, t,
                 c.first_code + static_cast<std::uint32_t>(std::min(codes, c.soc_stops_after)));
    }
  }
  close_episode(episode);
  return episode;
}

Episode shifted(Episode episode, std::int64_t ms) {
  for (auto* series : {&episode.speed, &episode.soc, &episode.odometer}) {
    for (std::int64_t& t : series->time_ms) t += ms;
  }
  for (std::int64_t& t : episode.pack.time_ms) t += ms;
  close_episode(episode);
  return episode;
}

}  // namespace

TEST_CASE("reading: the word's own resolution survives every variant") {
  PackReading reading = testing::agreed_reading();
  CHECK(reading.pack_a(0x00FA) == 25.0);
  CHECK(reading.pack_a(0xFF06) == -25.0);
  reading.sign = CurrentSign::discharge_negative;
  CHECK(reading.pack_a(0x00FA) == -25.0);
  reading.coding = CurrentCoding::offset_binary;
  CHECK(reading.pack_a(0x80FA) == -25.0);
  CHECK(reading.pack_tenths_a(0x0000) == 32768);
}

TEST_CASE("reading: ten minutes of driving settle all four variants") {
  for (const auto coding : {CurrentCoding::twos_complement, CurrentCoding::offset_binary}) {
    for (const auto sign : {CurrentSign::discharge_positive, CurrentSign::discharge_negative}) {
      ModelDrive drive;
      drive.coding = coding;
      drive.sign = sign;
      const PackReading reading = read({model_drive(drive)});
      CAPTURE(reading.evidence);
      CHECK(reading.verdict == CurrentVerdict::agreed);
      CHECK(reading.coding == coding);
      CHECK(reading.sign == sign);
      REQUIRE(reading.tallies.size() == 4);
      CHECK(reading.tallies[0].kind == "sag");
    }
  }
}

TEST_CASE("reading: sag alone is too little, and it says what is missing") {
  ModelDrive drive;
  drive.speed = false;
  drive.soc = false;
  const PackReading reading = read({model_drive(drive)});
  CHECK(reading.verdict == CurrentVerdict::too_little);
  CHECK(reading.sign == CurrentSign::unknown);
  CHECK(reading.evidence.find("only one kind") != std::string::npos);
}

TEST_CASE("reading: a drive whose state of charge is not answered agrees by sag and kinetic") {
  ModelDrive drive;
  drive.soc = false;
  CHECK(read({model_drive(drive)}).verdict == CurrentVerdict::agreed);
}

TEST_CASE("reading: a state of charge that never moves over 3 Ah contradicts") {
  ModelDrive drive;
  drive.seconds = 1800;
  Episode episode = model_drive(drive);
  for (std::uint32_t& code : episode.soc.raw) code = 180;
  const PackReading stuck = read({episode});
  CAPTURE(stuck.evidence);
  CHECK(stuck.verdict == CurrentVerdict::contradictory);
  // Full and giving contradicts too; a drive is not a charge.
  for (std::uint32_t& code : episode.soc.raw) code = 255;
  CHECK(read({episode}).verdict == CurrentVerdict::contradictory);
}

TEST_CASE("reading: a charge alone decides, with speed or without") {
  Charge c;
  CHECK(read({charge(c)}).verdict == CurrentVerdict::agreed);
  CHECK(read({charge(c)}).sign == CurrentSign::discharge_positive);
  c.amps = 20;
  c.speed = false;
  CHECK(read({charge(c)}).sign == CurrentSign::discharge_negative);
}

TEST_CASE("reading: a full pack that is still charged a little is no contradiction") {
  Charge c;
  c.first_code = 225;
  c.seconds = 4 * 3600;  // 80 Ah: 30 codes move, the last 62 Ah do not
  c.soc_stops_after = 30;
  CHECK(read({charge(c)}).verdict == CurrentVerdict::agreed);
  // The same below full: it stands still at 130 of 255.
  c.first_code = 130;
  c.soc_stops_after = 0;
  CHECK(read({charge(c)}).verdict == CurrentVerdict::contradictory);
}

TEST_CASE("reading: a controller that thinks again at rest is no charge") {
  // 0.5 A leave the standing pack while its SoC jumps up by 20 points.
  Charge c;
  c.amps = 0.5;
  c.real_amps = 0;
  Episode episode = charge(c);
  for (std::size_t i = episode.soc.raw.size() / 2; i < episode.soc.raw.size(); ++i) {
    episode.soc.raw[i] += 51;
  }
  CHECK(read({episode}).verdict == CurrentVerdict::too_little);
}

TEST_CASE("reading: a state of charge in whole per cent decides within 8 points of charge") {
  Charge c;
  Episode episode = charge(c);
  for (std::uint32_t& code : episode.soc.raw) {
    code = static_cast<std::uint32_t>(std::floor(code / 2.55) * 2.55);
  }
  CHECK(read({episode}).verdict == CurrentVerdict::agreed);
}

TEST_CASE("reading: a charge that the current does not see") {
  Charge c;
  c.amps = 0;
  const PackReading reading = read({charge(c)});
  CAPTURE(reading.evidence);
  CHECK(reading.verdict == CurrentVerdict::not_pack_current);
}

TEST_CASE("reading: a current that the voltage does not follow is not the pack's") {
  ModelDrive drive;
  drive.seconds = 3600;
  Episode episode = model_drive(drive);
  // As many votes for as against: 371 V and 370 V in turn, whatever flows.
  for (std::size_t i = 0; i < episode.pack.v_raw.size(); ++i) {
    episode.pack.v_raw[i] = static_cast<std::uint16_t>(i / 10 % 2 == 0 ? 371 * 64 : 370 * 64);
  }
  const PackReading reading = read({episode});
  CAPTURE(reading.evidence);
  CAPTURE(reading.tallies[0].positive);
  CAPTURE(reading.tallies[0].negative);
  CHECK(reading.verdict == CurrentVerdict::not_pack_current);
}

TEST_CASE("reading: a sign that flips a month later contradicts") {
  ModelDrive later;
  later.sign = CurrentSign::discharge_negative;
  const Episode first = model_drive({});
  const Episode second = shifted(model_drive(later), 40LL * 86'400'000);
  CHECK(read({first, second}).verdict == CurrentVerdict::contradictory);
  // In any order.
  CHECK(read({second, first}).verdict == CurrentVerdict::contradictory);
}

TEST_CASE("reading: a tenfold scale is doubtful") {
  Episode episode = model_drive({});
  for (std::uint16_t& v : episode.pack.v_raw) {
    v = static_cast<std::uint16_t>(370 * 64 + (static_cast<int>(v) - 370 * 64) * 20);
  }
  const PackReading reading = read({episode});
  CAPTURE(reading.evidence);
  CHECK(reading.verdict == CurrentVerdict::contradictory);
}

TEST_CASE("reading: half a minute is too short, and not a fault of the van") {
  Episode half_a_minute;
  Episode junk;
  for (std::int64_t i = 0; i < 150; ++i) {
    const double amps = 20 + 0.1 * static_cast<double>(i % 50);
    add_pack_row(half_a_minute, kReplayStartMs + i * 200, 370, amps, 200);
    add_pack_row(junk, kReplayStartMs + i * 1'000, 370, amps, 1'000);
    if (i % 10 == 0) junk.pack.a_raw.back() = 0x4000;  // 1638 A under either coding
  }
  close_episode(half_a_minute);
  close_episode(junk);
  const PackReading brief = read({half_a_minute});
  CHECK(brief.verdict == CurrentVerdict::too_little);
  CHECK(brief.evidence.find("less than a minute") != std::string::npos);
  const PackReading doubtful = read({junk});
  CHECK(doubtful.verdict == CurrentVerdict::too_little);
  CHECK(doubtful.evidence.find("impossible under either coding") != std::string::npos);
}

TEST_CASE("reading: each ECU and calibration is judged by itself") {
  Episode first = model_drive({});
  first.pack.ecu = 0x7EC;
  first.pack.calibration_id = "CAL1";
  ModelDrive other;
  other.sign = CurrentSign::discharge_negative;
  Episode second = model_drive(other);
  second.pack.ecu = 0x7EC;
  second.pack.calibration_id = "CAL2";
  PackEvidence evidence;
  evidence.observe(first);
  evidence.observe(second);
  const auto readings = evidence.decide();
  REQUIRE(readings.size() == 2);
  CHECK(reading_of(readings, first)->sign == CurrentSign::discharge_positive);
  CHECK(reading_of(readings, second)->sign == CurrentSign::discharge_negative);
  CHECK(reading_of(readings, Episode{}) == nullptr);
}

TEST_CASE("reading: any words at all are survived") {
  std::mt19937 random{11};
  for (int round = 0; round < 50; ++round) {
    Episode episode;
    std::int64_t t = kReplayStartMs;
    for (int i = 0; i < 2000; ++i) {
      t += random() % 3 == 0 ? static_cast<std::int64_t>(random() % 1'000'000)
                             : static_cast<std::int64_t>(random() % 1000);
      episode.pack.time_ms.push_back(t);
      episode.pack.v_raw.push_back(static_cast<std::uint16_t>(random()));
      episode.pack.a_raw.push_back(static_cast<std::uint16_t>(random()));
      episode.pack.period_ms.push_back(static_cast<std::uint32_t>(random()));
      if (random() % 2) add_sample(episode.speed, t, static_cast<std::uint32_t>(random()));
      if (random() % 4 == 0) add_sample(episode.soc, t, static_cast<std::uint32_t>(random()));
      if (random() % 8 == 0) add_sample(episode.odometer, t, static_cast<std::uint32_t>(random()));
    }
    close_episode(episode);
    CHECK(read({episode}).verdict != CurrentVerdict::agreed);
  }
}

// 44 measured drives of a car: every one that lasts decides, none wrongly.
// Source of the sign: the originators' torque and speed (data README).
TEST_CASE("reading: the measured drives agree, with the state of charge and without") {
  if (!testing::data_is_there()) {
    MESSAGE("no measured data beside the project: skipped");
    return;
  }
  for (const double hz : {5.0, 2.0}) {
    for (const bool soc : {true, false}) {
      int agreed = 0;
      int files = 0;
      for (const std::string& file : testing::files_named("drive-i3-")) {
        ReplayOptions options;
        options.hz = hz;
        options.soc_answered = soc;
        const PackReading reading = read({replay(file, options)});
        CAPTURE(file);
        CAPTURE(reading.evidence);
        ++files;
        agreed += reading.verdict == CurrentVerdict::agreed;
        CHECK(reading.sign != CurrentSign::discharge_negative);
      }
      std::printf("%.0f Hz, SoC %s: %d of %d drives agreed\n", hz,
                  soc ? "answered" : "not answered", agreed, files);
      CHECK(agreed == files);
    }
  }
}

TEST_CASE("reading: a measured drive whose state of charge stands still contradicts") {
  if (!testing::data_is_there()) {
    MESSAGE("no measured data beside the project: skipped");
    return;
  }
  ReplayOptions options;
  options.soc_constant_pct = 70;
  CHECK(read({replay("drive-i3-A06.csv", options)}).verdict == CurrentVerdict::contradictory);
}

}  // namespace packmile
