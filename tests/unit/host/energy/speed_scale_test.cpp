#include "energy/speed_scale.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "host/reading/replay.hpp"

namespace packmile {

TEST_CASE("distance scale: one that is agreed is taken, of a speed that is rounded") {
  const EnergyRules usual;
  Verdict scale;
  scale.question = VerdictQuestion::distance_scale;
  scale.answer = VerdictAnswer::agreed;
  scale.number = figure_of(0.97, 0, 0.001);
  Verdict rounding;
  rounding.question = VerdictQuestion::speed_rounding;
  rounding.answer = VerdictAnswer::agreed;
  rounding.word = "rounded";
  const EnergyRules taken = rules_for_distance(std::vector{rounding, scale});
  CHECK(taken.km_per_speed_km == 0.97);
  CHECK(taken.speed_scale_u == doctest::Approx(usual.odometer_scale_u).epsilon(0.01));
  // Not told whether it is cut down: more may be wrong.
  const EnergyRules open = rules_for_distance(std::vector{scale});
  CHECK(open.km_per_speed_km == 0.97);
  CHECK(open.speed_scale_u > taken.speed_scale_u);
  CHECK(open.speed_scale_u < usual.speed_scale_u);
  const auto untouched = [&](const std::vector<Verdict>& verdicts) {
    const EnergyRules rules = rules_for_distance(verdicts);
    return rules.km_per_speed_km == 1 && rules.speed_scale_u == usual.speed_scale_u;
  };
  rounding.word = "cut";
  CHECK(untouched({rounding, scale}));
  CHECK(untouched({}));
  CHECK(untouched({scale, scale}));
  scale.answer = VerdictAnswer::contradictory;
  CHECK(untouched({scale}));
}

using testing::add_sample;
using testing::close_episode;
using testing::kReplayStartMs;

namespace {

struct Drives {
  bool cut = false;
  double scale = 1;       // odometer over the true way of the speed
  double odometer_s = 5;  // period
  int drives = 24;
  double minutes = 20;
  bool like_speeds = false;
  bool odometer = true;
  std::uint32_t odometer_unit = 1;  // 10: whole kilometres
};

constexpr std::int64_t kHourMs = 3'600'000;

// Stop and go around a mean speed of its own for each drive, seeded.
void observe(SpeedScale& scale, const Drives& d, double* end_km = nullptr,
             std::int64_t* end_ms = nullptr) {
  std::mt19937 random{23};
  double km = 40'000;
  std::int64_t now_ms = kReplayStartMs;
  for (int k = 0; k < d.drives; ++k) {
    const double mean = d.like_speeds ? 40 : std::uniform_real_distribution<double>{18, 95}(random);
    Episode episode;
    episode.speed.ecu = 0x7E8;
    episode.speed.calibration_id = "CAL";
    const double phase = std::uniform_real_distribution<double>{0, 6}(random);
    for (std::int64_t ms = 0; ms < static_cast<std::int64_t>(d.minutes * 60e3); ms += 100) {
      const double t = static_cast<double>(ms) / 1e3;
      const double v =
          std::max(0.0, mean * (1 + 0.4 * std::sin(t / 29 + phase)) + 3 * std::sin(t / 7.3));
      km += d.scale * v / 36'000;
      if (ms % 500 == 0) {
        const double shown = d.cut ? std::floor(v) : std::round(v);
        add_sample(episode.speed, now_ms + ms, static_cast<std::uint32_t>(shown));
      }
      if (d.odometer && ms % static_cast<std::int64_t>(d.odometer_s * 1e3) == 0)
        add_sample(episode.odometer, now_ms + ms,
                   static_cast<std::uint32_t>(km * 10 / d.odometer_unit) * d.odometer_unit);
    }
    close_episode(episode);
    scale.observe(episode);
    now_ms += static_cast<std::int64_t>(d.minutes * 60e3) + kHourMs;
  }
  if (end_km != nullptr) *end_km = km;
  if (end_ms != nullptr) *end_ms = now_ms;
}

struct Told {
  Verdict rounding, scale;
};
Told told(const SpeedScale& scale, const std::vector<NotedOdometer>& notes = {}) {
  const auto verdicts = scale.decide(notes);
  REQUIRE(verdicts.size() == 2);
  CHECK(verdicts[0].question == VerdictQuestion::speed_rounding);
  CHECK(verdicts[1].question == VerdictQuestion::distance_scale);
  CHECK(verdicts[1].ecu == 0x7E8);
  CHECK(verdicts[1].calibration_id == "CAL");
  return {verdicts[0], verdicts[1]};
}
Told told(const Drives& d) {
  SpeedScale scale;
  observe(scale, d);
  return told(scale);
}

bool holds(const Verdict& verdict, double value) {
  return verdict.number && verdict.number->low <= value && value <= verdict.number->high;
}

NotedOdometer note(std::int64_t t_ms, double km) {
  const UtcTime at{std::chrono::milliseconds{t_ms}};
  return {at, at, km};
}

}  // namespace

// By hand: odometer = 1.02 * speed + 0.5 km/h * time, no errors.
TEST_CASE("speed scale: an exact plane is found") {
  std::vector<SpeedStretch> stretches;
  for (const double kmh : {20.0, 40.0, 60.0, 90.0}) {
    const double h = 8 / kmh;
    stretches.push_back({1.02 * 8 + 0.5 * h, 8, h, 0.03});
  }
  const auto fit = fit_speed(stretches);
  REQUIRE(fit);
  CHECK(fit->k == doctest::Approx(1.02).scale(0).epsilon(1e-9));
  CHECK(fit->c_kmh == doctest::Approx(0.5).scale(0).epsilon(1e-9));
  CHECK(fit->k_cut == doctest::Approx(1.02).scale(0).epsilon(1e-9));
  for (SpeedStretch& s : stretches) s.moving_h = s.speed_km / 50;
  CHECK_FALSE(fit_speed(stretches).has_value());
}

TEST_CASE("speed scale: rounded and cut are told apart, with the odometer's scale") {
  for (const bool cut : {false, true}) {
    for (const double scale : {1.0, 0.97, 1.03}) {
      for (const double odometer_s : {1.0, 5.0}) {
        CAPTURE(cut);
        CAPTURE(scale);
        CAPTURE(odometer_s);
        const Told t = told({.cut = cut, .scale = scale, .odometer_s = odometer_s});
        CAPTURE(t.rounding.evidence);
        CHECK(t.rounding.answer == VerdictAnswer::agreed);
        CHECK(t.rounding.word == (cut ? "cut" : "rounded"));
        CHECK(t.scale.answer == VerdictAnswer::agreed);
        CHECK(std::abs(t.scale.number->value - scale) < 0.003);
        CHECK(holds(t.scale, scale));
      }
    }
  }
}

TEST_CASE("speed scale: an odometer of whole kilometres does as well, with more of them") {
  const Told t = told({.cut = true, .drives = 60, .odometer_unit = 10});
  CAPTURE(t.rounding.evidence);
  CHECK(t.rounding.word == "cut");
  CHECK(holds(t.scale, 1.0));
}

TEST_CASE("speed scale: under 200 km, or at one speed, nothing is told") {
  const Told little = told({.cut = true, .drives = 6});
  CHECK(little.rounding.answer == VerdictAnswer::too_little);
  CHECK(little.rounding.evidence.find("200 km are needed") != std::string::npos);
  CHECK(little.scale.answer == VerdictAnswer::too_little);
  const Told alike = told({.cut = true, .drives = 30, .like_speeds = true});
  CAPTURE(alike.rounding.evidence);
  CHECK(alike.rounding.answer == VerdictAnswer::too_little);
}

TEST_CASE("speed scale: without an odometer only notes tell") {
  SpeedScale scale;
  double km = 0;
  std::int64_t end_ms = 0;
  observe(scale, {.scale = 0.98, .odometer = false}, &km, &end_ms);
  const Told silent = told(scale);
  CHECK(silent.rounding.answer == VerdictAnswer::not_applicable);
  CHECK(silent.scale.answer == VerdictAnswer::too_little);
  CHECK(silent.scale.evidence.find("note the dashboard's odometer twice") != std::string::npos);
  // Between drives, an hour before the last begins and one after the first ended.
  const std::int64_t first_ms = kReplayStartMs + 20 * 60'000 + kHourMs / 2;
  const std::int64_t last_ms = end_ms - 20 * 60'000 - kHourMs - kHourMs / 2;
  // What was driven by then: all but the first and the last drive; told by a van
  // with an odometer that drove the same.
  SpeedScale with;
  observe(with, {.scale = 0.98});
  double at_first = 0, at_last = 0;
  {
    SpeedScale one;
    observe(one, {.scale = 0.98, .drives = 1}, &at_first);
    SpeedScale most;
    observe(most, {.scale = 0.98, .drives = 23}, &at_last);
  }
  const Told noted = told(scale, {note(first_ms, at_first), note(last_ms, at_last)});
  CAPTURE(noted.scale.evidence);
  CHECK(noted.scale.answer == VerdictAnswer::agreed);
  CHECK(holds(noted.scale, 0.98));
  // Miles typed as kilometres.
  const Told miles =
      told(scale, {note(first_ms, at_first / 1.609344), note(last_ms, at_last / 1.609344)});
  CHECK(miles.scale.answer == VerdictAnswer::contradictory);
  CHECK_FALSE(miles.scale.number.has_value());
  const Told confirmed = told(with, {note(first_ms, at_first), note(last_ms, at_last)});
  CHECK(confirmed.scale.answer == VerdictAnswer::agreed);
  CHECK(confirmed.scale.evidence.find("for each km of the van's odometer") != std::string::npos);
  const Told against =
      told(with, {note(first_ms, at_first / 1.609344), note(last_ms, at_last / 1.609344)});
  CHECK(against.scale.answer == VerdictAnswer::contradictory);
}

TEST_CASE("speed scale: any samples are survived") {
  std::mt19937 random{3};
  SpeedScale scale;
  for (int round = 0; round < 40; ++round) {
    Episode episode;
    std::int64_t t = kReplayStartMs;
    for (int i = 0; i < 3000; ++i) {
      t += static_cast<std::int64_t>(random() % 3000);
      if (random() % 2) add_sample(episode.speed, t, static_cast<std::uint32_t>(random()));
      if (random() % 3 == 0) add_sample(episode.odometer, t, static_cast<std::uint32_t>(random()));
    }
    close_episode(episode);
    scale.observe(episode);
  }
  for (const Verdict& verdict : scale.decide({})) CHECK(verdict.answer != VerdictAnswer::agreed);
}

}  // namespace packmile
