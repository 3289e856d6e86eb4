// Rests, what lies between them, and steps of current: made-up weeks.
#include "pack/rest.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <random>
#include <string>

#include "energy/integrate.hpp"
#include "host/pack/week_scene.hpp"
#include "host/reading/replay.hpp"
#include "pack/capacity.hpp"
#include "pack/resistance.hpp"

namespace packmile::testing {
namespace {

constexpr std::int64_t kRestDayMs = 86'400'000;

RestObservations watch(Week week, int days, double charge_a = 25, double a_step_a = kPackAStep) {
  RestWatch rests{150};
  const PackReading reading = agreed_reading();
  PackDecoder decoder;
  for (int day = 0; day < days; ++day) {
    for (const double amps : {50.0, -charge_a}) {
      const double hours = amps > 0 ? 1.5 : 3.0;
      Episode episode = week.stretch(amps, hours);
      episode.pack.a_step_a = a_step_a;
      rests.add(episode, decoder.decode(episode.pack, &reading), 0);
      week.sleep(week.rest_h);
    }
  }
  return rests.finish();
}

}  // namespace

TEST_CASE("rest to rest: a drive and a charge between long rests give the capacity") {
  const RestObservations found = watch({}, 5);
  // Nothing is known before the first stretch: nine rests, eight stretches.
  CHECK(found.points.size() == 9);
  REQUIRE(found.pairs.size() == 8);
  CHECK(found.n_refused == 0);
  CHECK(found.re_anchors.empty());
  for (const RestToRest& pair : found.pairs) {
    CHECK(pair.ah.value == doctest::Approx(150).epsilon(0.01));
    CHECK(pair.ah.low < 150);
    CHECK(pair.ah.high > 150);
    CHECK(pair.point.x > 0.45);
    CHECK(pair.soc_high_pct > pair.soc_low_pct + 45);
    CHECK(pair.ambient_c == 18);
  }
  CHECK(found.points[0].rested_h == doctest::Approx(3).epsilon(0.01));
  CHECK(found.points[0].pack_v == doctest::Approx(340 + 60 * 0.4).epsilon(0.002));
}

TEST_CASE("rest to rest: a sensor's offset is seen from both sides") {
  Week week;
  week.sensor_a = 0.5;
  const RestObservations raw = watch(week, 3);
  REQUIRE(raw.pairs.size() == 4);
  // A charge of 3 h reads 1.5 Ah too little, a drive of 1.5 h 0.75 Ah too much.
  CHECK(raw.pairs[0].ah.value == doctest::Approx(150 - 1.5 / 0.5).epsilon(0.01));
  CHECK(raw.pairs[1].ah.value == doctest::Approx(150 + 0.75 / 0.5).epsilon(0.01));
  CapacityInput input;
  input.rests = &raw;
  const auto row_of = [](const CapacityFindings& found) {
    return *std::find_if(found.rows.begin(), found.rows.end(), [](const CapacityRow& row) {
      return row.method == CapacityMethod::rest_to_rest;
    });
  };
  const Figure with = *row_of(combine_capacity(input)).ah.figure;
  input.offsets[0] = {0.5, 0.02};  // as the reading tells it
  const Figure without = *row_of(combine_capacity(input)).ah.figure;
  CHECK(without.value == doctest::Approx(150).epsilon(0.007));
  CHECK(without.high - without.low < with.high - with.low);
}

// Down to a rest and up from it, each 100 Ah: every rest but the ends is in two
// stretches. The spread of the mean over seeded sets is what the widening says.
TEST_CASE("rest to rest: stretches that share a rest are less sure together than they look") {
  std::mt19937 random{12};  // seed 12
  std::normal_distribution<double> normal;
  constexpr int kSets = 4000;
  for (const bool to_and_fro : {true, false}) {
    double squares = 0, told = 0;
    for (int set = 0; set < kSets; ++set) {
      std::vector<RestToRest> pairs(9);
      double before = normal(random);
      double mean = 0;
      for (std::size_t i = 0; i < pairs.size(); ++i) {
        const double after = normal(random);
        const double turn = to_and_fro && i % 2 == 1 ? -1 : 1;
        pairs[i].start = UtcTime{std::chrono::hours{i}};
        pairs[i].end = UtcTime{std::chrono::hours{i + 1}};
        pairs[i].point.t = turn;
        mean += turn * (before - after) / double(pairs.size());
        before = after;
      }
      squares += mean * mean / kSets;
      std::vector<const RestToRest*> of;
      for (const RestToRest& pair : pairs) of.push_back(&pair);
      told = std::sqrt(2.0 / double(pairs.size())) * shared_rests_widening(of);
    }
    std::printf("shared rests, seed 12, %s: sd %.3f, told %.3f\n",
                to_and_fro ? "to and fro" : "one way", std::sqrt(squares), told);
    CHECK(told == doctest::Approx(std::sqrt(squares)).epsilon(0.05));
  }
}

TEST_CASE("rest to rest: refusals") {
  Week short_rest;
  short_rest.rest_h = 1.5;
  CHECK(watch(short_rest, 3).points.empty());
  Week loaded;
  loaded.first_a = 3;
  CHECK(watch(loaded, 3).points.empty());
  Week hole;
  hole.hole_s = 300;  // more than 2 % of either stretch
  const RestObservations unseen = watch(hole, 3);
  CHECK(unseen.pairs.empty());
  CHECK(unseen.n_refused > 0);
  Week moved;
  moved.sleep_codes = 2;  // more than a code each night
  CHECK(watch(moved, 3).pairs.empty());
  Week small;
  small.capacity_ah = 300;  // a quarter of the range each way
  CHECK(watch(small, 3).pairs.empty());
}

TEST_CASE("rest to rest: a controller that falls asleep is listed") {
  Week week;
  week.sleep_codes = 6;
  const RestObservations found = watch(week, 2);
  REQUIRE(found.re_anchors.size() == 3);
  for (const ReAnchor& event : found.re_anchors) {
    CHECK(event.place == ReAnchorPlace::asleep);
    CHECK(event.soc_after_pct < event.soc_before_pct - 1.9);
    CHECK(event.expected_ah == doctest::Approx(-150 * 6 / 255.0).epsilon(0.2));
    CHECK(event.ah == 0);
  }
  CHECK(std::string(word_of(ReAnchorPlace::asleep)) == "asleep");
}

// A step up over a long sleep after a drive: nothing but a look at the cells does that.
// Whatever else may have put charge in unheard proves nothing.
TEST_CASE("rest to rest: a rise asleep is proof only where no charge can have done it") {
  struct Case {
    std::string what;
    std::size_t proofs;
    double first_a = 0.4;  // at the first answer after the sleep
    double end_a = 0.4;    // at the last one before it
    double before_a = 50;  // of the hours before
    int rise_codes = 1;
    double soc = 0.8;
    bool other_boot = false;
    bool drove = false;
  };
  for (const Case& c : {
           Case{.what = "after a drive", .proofs = 1},
           Case{.what = "two codes", .proofs = 1, .rise_codes = 2},
           Case{.what = "a fall", .proofs = 0, .rise_codes = -1},
           Case{.what = "more than a look", .proofs = 0, .rise_codes = 4},
           Case{.what = "charging at the first answer", .proofs = 0, .first_a = -18},
           Case{.what = "charging at the last answer", .proofs = 0, .end_a = -18},
           Case{.what = "after a charge", .proofs = 0, .before_a = -20, .soc = 0.3},
           Case{.what = "near full", .proofs = 0, .before_a = 1, .soc = 0.98},
           Case{.what = "the logger started anew", .proofs = 0, .other_boot = true},
           Case{.what = "it drove", .proofs = 0, .drove = true},
       }) {
    CAPTURE(c.what);
    RestWatch rests{150};
    const PackReading reading = agreed_reading();
    PackDecoder decoder;
    Week week;
    week.soc = week.shown = c.soc;
    Episode before = week.stretch(c.before_a, 1);
    before.pack.a_raw.back() = static_cast<std::uint16_t>(std::lround(c.end_a * 10));
    rests.add(before, decoder.decode(before.pack, &reading), 0);
    week.sleep_codes = -c.rise_codes;
    week.sleep(8);
    week.first_a = c.first_a;
    Episode after = week.stretch(c.first_a, 0.5);
    after.boot_id = before.boot_id + (c.other_boot ? 1 : 0);
    if (c.drove)
      for (std::uint32_t& km : after.odometer.raw) km += 20;
    rests.add(after, decoder.decode(after.pack, &reading), 0);
    CHECK(rests.finish().n_risen_at_rest == c.proofs);
  }
}

TEST_CASE("rest to rest: a change of mind while driving is listed") {
  Week week;
  RestWatch rests{150};
  const PackReading reading = agreed_reading();
  PackDecoder decoder;
  Episode episode = week.stretch(50, 1);
  for (std::size_t i = 200; i < episode.soc.raw.size(); ++i) episode.soc.raw[i] -= 10;
  rests.add(episode, decoder.decode(episode.pack, &reading), 0);
  const RestObservations found = rests.finish();
  REQUIRE(found.re_anchors.size() == 1);
  CHECK(found.re_anchors[0].place == ReAnchorPlace::awake);
  CHECK(found.re_anchors[0].soc_after_pct - found.re_anchors[0].soc_before_pct ==
        doctest::Approx(-3.9).epsilon(0.15));
}

TEST_CASE("rest drift: the same shown charge at another voltage") {
  // Rests of half a year near 40 and 90 %, the later ones lower by 0.9 V.
  const auto rested = [](double drop_v) {
    std::vector<RestPoint> points;
    std::mt19937 random{4};  // seed 4
    std::normal_distribution<double> noise{0, 0.1};
    for (int day = 0; day < 300; day += 3) {
      RestPoint p;
      p.at = UtcTime{std::chrono::milliseconds{kReplayStartMs + day * kRestDayMs}};
      p.soc_pct = 100 * (day % 2 == 0 ? 103 : 229) / 255.0;
      p.ambient_c = 18;
      p.pack_v = 340 + 60 * p.soc_pct / 100 + noise(random) - (day > 200 ? drop_v : 0);
      points.push_back(p);
    }
    return points;
  };
  const RestDriftOrWhy still = tell_rest_drift(rested(0));
  REQUIRE(still.drift);
  CHECK(still.drift->change_pct.low < 0);
  CHECK(still.drift->change_pct.high > 0);
  const RestDriftOrWhy moved = tell_rest_drift(rested(0.9));
  REQUIRE(moved.drift);
  CHECK(moved.drift->change_pct.high < 0);
  CHECK(moved.drift->change_pct.value == doctest::Approx(-100 * 0.9 / 380).epsilon(0.1));
  REQUIRE(moved.drift->points);
  CHECK(moved.drift->points->value == doctest::Approx(-1.5).epsilon(0.1));  // 0.6 V a point
  const auto all = rested(0);
  const std::vector<RestPoint> few(all.begin(), all.begin() + 20);
  CHECK_FALSE(tell_rest_drift(few).drift);
  CHECK_FALSE(tell_rest_drift({}).drift);
}

TEST_CASE("resistance: steps of current give it, with an interval over days") {
  ResistanceSteps steps;
  const PackReading reading = agreed_reading();
  PackDecoder decoder;
  Week week;
  for (int day = 0; day < 6; ++day) {
    week.ohm = 0.09 + 0.002 * (day % 3 - 1);
    week.soc = 0.57;
    week.shown = 0.57;
    const Episode episode = week.stretch(20, 0.5, 60);
    steps.add(episode, decoder.decode(episode.pack, &reading));
    week.sleep(23.5);
  }
  const auto rows = steps.finish();
  REQUIRE(!rows.empty());
  CHECK(rows[0].band.soc_from_pct == 50);
  CHECK(rows[0].band.stratum == TemperatureStratum::from_15);
  CHECK(rows[0].n_days == 6);
  CHECK(rows[0].n_pairs > 400);
  REQUIRE(rows[0].mohm.figure);
  const Figure& mohm = *rows[0].mohm.figure;
  CHECK(mohm.value == doctest::Approx(90).epsilon(0.03));
  CHECK(mohm.low < 90);
  CHECK(mohm.high > 90);
  CHECK(mohm.scatter > 0.3);
  CHECK(mohm.scatter < 5);
  CHECK(steps.finish().empty());
  week.ohm = 0.09;
  for (int day = 0; day < 6; ++day) {
    week.soc = week.shown = 0.57;
    Episode episode = week.stretch(20, 0.5, 60);
    episode.pack.v_step_v = 1;
    steps.add(episode, decoder.decode(episode.pack, &reading));
    week.sleep(23.5);
  }
  const auto coarse = steps.finish();
  REQUIRE(!coarse.empty());
  REQUIRE(coarse[0].mohm.figure);
  // 0.29 V in steps of 120 A.
  const Figure& wide = *coarse[0].mohm.figure;
  CHECK((wide.high - wide.low) / 2 ==
        doctest::Approx(1.96 * std::hypot(1000 / std::sqrt(12.0) / 120, 0.6)).epsilon(0.1));
}

// A current that reads 4 % too much and a voltage that reads 1 % too little make the
// resistance 5 % too small; charges against a meter told both.
TEST_CASE("resistance: a gain that the reading has is out of it, and its width counts") {
  PackReading reading = agreed_reading();
  const auto told = [&] {
    PackDecoder decoder;
    ResistanceSteps steps;
    Week week;
    for (int day = 0; day < 6; ++day) {
      week.ohm = 0.09 + 0.002 * (day % 3 - 1);
      week.soc = week.shown = 0.57;
      const Episode episode = week.stretch(20, 0.5, 60);
      steps.add(episode, decoder.decode(episode.pack, &reading));
      week.sleep(23.5);
    }
    const auto rows = steps.finish();
    REQUIRE(!rows.empty());
    REQUIRE(rows[0].mohm.figure);
    return *rows[0].mohm.figure;
  };
  const Figure usual = told();
  const double current = 1 / 1.04, voltage = 1 / 0.99;
  reading.gain = SensorGain{current * voltage, 0.004, current, 0.004};
  const Figure known = told();
  CHECK(known.value == doctest::Approx(usual.value * 1.04 / 0.99).scale(0).epsilon(1e-9));
  CHECK(known.scatter == doctest::Approx(usual.scatter * 1.04 / 0.99).scale(0).epsilon(1e-6));
  CHECK(known.low < known.value);
  // Nothing of voltage and current apart: two ways to the same width. By what the
  // product leaves open, var(v - i) = c2 + w2 - (w2 - c2)^2 / (c2 + w2 + u2).
  const double c2 = 0.006 * 0.006, w2 = 0.003 * 0.003, u2 = 0.01 * 0.01, all = c2 + w2 + u2;
  const SensorGain shared{1, std::sqrt((c2 + w2) * u2 / all), 1, std::sqrt(c2 * (all - c2) / all)};
  const double exact = std::sqrt(c2 + w2 - (w2 - c2) * (w2 - c2) / all);
  CHECK(shared.u_resistance(0.003) >= exact);
  CHECK(shared.u_resistance(0.003) < 1.05 * exact);
}

TEST_CASE("resistance: refuses a few steps, and a current that never steps") {
  const PackReading reading = agreed_reading();
  PackDecoder decoder;
  ResistanceSteps steps;
  Week week;
  Episode episode;
  for (int day = 0; day < 4; ++day) {
    week.soc = week.shown = 0.55;
    episode = week.stretch(20, 0.04, 60);  // a minute of rest, a minute and a half of steps
    steps.add(episode, decoder.decode(episode.pack, &reading));
    week.sleep(24);
  }
  const auto few = steps.finish();
  REQUIRE(few.size() == 1);
  CHECK(few[0].n_days == 4);
  CHECK(few[0].n_pairs > 60);
  CHECK(few[0].n_pairs < 100);
  CHECK_FALSE(few[0].mohm.figure);
  CHECK(few[0].mohm.why.find("100") != std::string::npos);
  for (int day = 0; day < 2; ++day) {
    week.soc = week.shown = 0.55;
    episode = week.stretch(20, 0.3, 60);
    steps.add(episode, decoder.decode(episode.pack, &reading));
    week.sleep(24);
  }
  const auto two_days = steps.finish();
  REQUIRE(!two_days.empty());
  CHECK(two_days[0].n_pairs >= 200);
  CHECK_FALSE(two_days[0].mohm.figure);
  episode = week.stretch(20, 0.5, 5);
  steps.add(episode, decoder.decode(episode.pack, &reading));
  CHECK(steps.finish().size() <= 1);  // the one step at the start
  steps.add(Episode{}, PackRows{});
  CHECK(steps.finish().empty());
}

TEST_CASE("resistance: its trend over two years, by the band that most months have") {
  std::vector<MonthlyResistance> months;
  for (int m = 0; m < 24; ++m) {
    const double grown = 90 * (1 + 0.1 * m / 12) + 0.3 * (m * 7 % 5 - 2);
    Resistance mid{
        {TemperatureStratum::from_15, 50}, MaybeFigure::known(figure_of(grown, 0.5, 0.6)), 500, 10};
    Resistance cold{
        {TemperatureStratum::below_5, 50}, MaybeFigure::known(figure_of(150, 0.5, 0.6)), 500, 10};
    months.push_back({2026 * 12 + m, {mid}});
    if (m % 12 < 2) months.back().rows.push_back(cold);
  }
  const auto trend = tell_resistance_trend(months);
  REQUIRE(trend);
  CHECK(trend->band.stratum == TemperatureStratum::from_15);
  CHECK(trend->n_months == 24);
  REQUIRE(trend->pct_per_year.figure);
  CHECK(trend->pct_per_year.figure->low < 10);
  CHECK(trend->pct_per_year.figure->high > 10);
  CHECK(trend->pct_per_year.figure->value == doctest::Approx(10).epsilon(0.05));
  const std::vector<MonthlyResistance> half(months.begin(), months.begin() + 6);
  REQUIRE(tell_resistance_trend(half));
  CHECK_FALSE(tell_resistance_trend(half)->pct_per_year.figure);
  CHECK_FALSE(tell_resistance_trend({}));
}

}  // namespace packmile::testing
