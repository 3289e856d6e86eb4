#include "energy/distance.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "catalogue/catalogue.hpp"
#include "energy/slow_signals.hpp"
#include "host/reading/replay.hpp"

namespace packmile {

using testing::add_sample;
using testing::close_episode;

namespace {

// A drive at one speed after `rest_s` of standing; odometer cut down.
Episode steady(double kmh, int seconds, int odometer_every_s, double start_km, int rest_s = 10,
               bool speed = true) {
  Episode episode;
  for (int s = 0; s <= seconds + 2 * rest_s; ++s) {
    const double moving_s = std::min(std::max(s - rest_s, 0), seconds);
    const bool moves = s > rest_s && s <= rest_s + seconds;
    if (speed) add_sample(episode.speed, s * 1000, moves ? static_cast<std::uint32_t>(kmh) : 0);
    if (odometer_every_s > 0 && s % odometer_every_s == 0) {
      const double km = start_km + kmh * moving_s / 3600;
      add_sample(episode.odometer, s * 1000,
                 static_cast<std::uint32_t>(std::floor(km * 10 + 1e-9)));
    }
  }
  close_episode(episode);
  return episode;
}

TripDistance distance(const Episode& episode, bool whole_km = false) {
  const Span all{episode.start.time_since_epoch().count(), episode.end.time_since_epoch().count()};
  return distance_of(episode, all, {all.from_ms + 10'000, all.to_ms - 10'000}, whole_km, {});
}

bool covers(const MaybeFigure& figure, double value) {
  return figure.figure && figure.figure->low <= value && value <= figure.figure->high;
}

}  // namespace

TEST_CASE("distance: by speed with the scale that the van's own distances told") {
  const Episode episode = steady(50, 3600, 0, 0);
  const Span all{episode.start.time_since_epoch().count(), episode.end.time_since_epoch().count()};
  const Span moving{all.from_ms + 10'000, all.to_ms - 10'000};
  const TripDistance plain = distance_of(episode, all, moving, false, {});
  EnergyRules rules;
  rules.km_per_speed_km = 0.96;
  rules.speed_scale_u = 0.015;
  const TripDistance scaled = distance_of(episode, all, moving, false, rules);
  REQUIRE(plain.km.figure);
  REQUIRE(scaled.km.figure);
  CHECK(scaled.km.figure->value == doctest::Approx(0.96 * plain.km.figure->value));
  CHECK(scaled.km.figure->high - scaled.km.figure->low <
        0.52 * (plain.km.figure->high - plain.km.figure->low));
  // An odometer is not scaled: only what lies between it and the ends of the trip is.
  const Episode counted = steady(50, 3600, 10, 1000);
  const TripDistance by_odometer = distance_of(counted, all, moving, false, rules);
  REQUIRE(by_odometer.km.figure);
  CHECK(by_odometer.km.figure->value == doctest::Approx(50).epsilon(0.003));
}

// D1. Word 0001E240 of the catalogue's odometer.
TEST_CASE("distance: an odometer word in km and miles") {
  const double km = 0x0001E240 * find_signal(signal::odometer_km)->scale;
  CHECK(km == doctest::Approx(12345.6).scale(0).epsilon(1e-9));
  CHECK(km / kKmPerMile == doctest::Approx(7671.2002).scale(0).epsilon(1e-8));
}

// D2. Definition.
TEST_CASE("distance: 50 km/h for an hour") {
  SignalSeries speed;
  for (int s = 0; s <= 3600; ++s) add_sample(speed, s * 1000, 50);
  CHECK(km_by_speed(speed, {0, 3'600'000}).km == doctest::Approx(50).scale(0).epsilon(1e-12));
  // Part of a step counts in proportion.
  CHECK(km_by_speed(speed, {500, 1'500}).km ==
        doctest::Approx(50 / 3600.0).scale(0).epsilon(1e-12));
}

// By hand: from rest to 60 km/h and back in two minutes is 1 km.
TEST_CASE("distance: a ramp counts by its mean speed") {
  SignalSeries speed;
  for (int s = 0; s <= 120; ++s) {
    add_sample(speed, s * 1000, static_cast<std::uint32_t>(s <= 60 ? s : 120 - s));
  }
  CHECK(km_by_speed(speed, {0, 60'000}).km == doctest::Approx(0.5).scale(0).epsilon(1e-12));
  CHECK(km_by_speed(speed, {0, 120'000}).km == doctest::Approx(1.0).scale(0).epsilon(1e-12));
  CHECK(km_by_speed(speed, {10'000, 20'000}).km ==
        doctest::Approx(150 / 3600.0).scale(0).epsilon(1e-12));
}

// D3. 0.1 / sqrt 6, triangular.
TEST_CASE("distance: difference of two readings cut down") {
  CHECK(u_of_floor_difference_km(0.1) == doctest::Approx(0.040825).scale(0).epsilon(1e-5));
}

TEST_CASE("distance: odometer from 2 km on, speed below") {
  const TripDistance far = distance(steady(36, 600, 5, 1000.04));
  CHECK(far.source == DistanceSource::odometer);
  CHECK(covers(far.km, 6.0));
  const TripDistance near = distance(steady(36, 150, 5, 1000.04));
  CHECK(near.source == DistanceSource::speed);
  CHECK(covers(near.km, 1.5));
}

TEST_CASE("distance: steps timed every second beat two readings") {
  for (const double start_km : {1000.0, 1000.03, 1000.09}) {
    const TripDistance fast = distance(steady(36, 600, 1, start_km));
    const TripDistance slow = distance(steady(36, 600, 5, start_km));
    CAPTURE(start_km);
    CHECK(fast.km.figure->value == doctest::Approx(6.0).scale(0).epsilon(0.003));
    CHECK(fast.km.figure->scatter < slow.km.figure->scatter / 2);
    CHECK(std::abs(slow.km.figure->value - 6.0) <= 0.1);
  }
}

TEST_CASE("distance: an odometer that starts to answer on the way is completed by speed") {
  Episode episode = steady(36, 600, 5, 1000.0);
  // The first 100 s of it were not answered: 900 m.
  episode.odometer.time_ms.erase(episode.odometer.time_ms.begin(),
                                 episode.odometer.time_ms.begin() + 20);
  episode.odometer.raw.erase(episode.odometer.raw.begin(), episode.odometer.raw.begin() + 20);
  const TripDistance result = distance(episode);
  CHECK(result.source == DistanceSource::odometer);
  CHECK(result.km.figure->value == doctest::Approx(6.0).scale(0).epsilon(0.02));
}

TEST_CASE("distance: without speed the odometer tells even little, without both nobody") {
  const TripDistance odometer = distance(steady(36, 100, 5, 1000.05, 10, false));
  CHECK(odometer.source == DistanceSource::odometer);
  CHECK(covers(odometer.km, 1.0));
  const TripDistance none = distance(steady(36, 100, 0, 0, 10, false));
  CHECK(none.source == DistanceSource::none);
  CHECK_FALSE(none.km.figure);
  CHECK_FALSE(none.km.why.empty());
}

TEST_CASE("distance: whole kilometres count from 20 km on") {
  Episode episode = steady(72, 900, 5, 1000.5);
  for (std::uint32_t& raw : episode.odometer.raw) raw = raw / 10 * 10;
  CHECK(distance(episode, true).source == DistanceSource::speed);
  CHECK(distance(episode, false).source == DistanceSource::odometer);
  Episode longer = steady(72, 1800, 5, 1000.5);
  for (std::uint32_t& raw : longer.odometer.raw) raw = raw / 10 * 10;
  const TripDistance result = distance(longer, true);
  CHECK(result.source == DistanceSource::odometer);
  CHECK(covers(result.km, 36.0));
  CHECK(result.km.figure->scatter > 0.75);
}

TEST_CASE("distance: an odometer that falls, jumps or disagrees is marked") {
  Episode fell = steady(36, 600, 5, 1000.0);
  fell.odometer.raw[50] -= 30;
  const TripDistance a = distance(fell);
  CHECK(a.findings == std::vector<Finding>{Finding::odometer_fell});
  CHECK(a.source == DistanceSource::speed);
  CHECK_FALSE(a.doubt.empty());

  Episode jumped = steady(36, 600, 5, 1000.0);
  for (std::size_t i = 50; i < jumped.odometer.raw.size(); ++i) jumped.odometer.raw[i] += 50;
  CHECK(distance(jumped).findings == std::vector<Finding>{Finding::odometer_against_speed});
  CHECK(distance(jumped).source == DistanceSource::speed);

  Episode apart = steady(36, 600, 5, 1000.0);
  for (std::uint32_t& v : apart.speed.raw) v = v * 3 / 4;  // 4.5 km against 6
  const TripDistance b = distance(apart);
  CHECK(b.findings == std::vector<Finding>{Finding::odometer_against_speed});
  CHECK_FALSE(b.doubt.empty());
  // A tenth of a short way is nothing.
  Episode near = steady(36, 300, 5, 1000.0);
  for (std::uint32_t& v : near.speed.raw) v = v * 3 / 4;
  CHECK(distance(near).findings.empty());
}

}  // namespace packmile
