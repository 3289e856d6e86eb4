#include "energy/van_account.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "energy/integrate.hpp"
#include "host/energy/van_scene.hpp"

namespace packmile {

using namespace testing;

// G4. By hand: 6.9 * 40/60 in, 0.3 * 10/60 out during the pause.
TEST_CASE("account: regen is no charge, a pause of ten minutes stays one session") {
  Scene scene;
  scene.stretch(60, 40, -20).stretch(60, 0, 0.8).stretch(1200, 0, -6.9).stretch(600, 0, 0.3);
  scene.stretch(1200, 0, -6.9).stretch(600, 40, 8);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.sessions.size() == 1);
  const ChargeSession& session = figures.sessions[0];
  CHECK(since_start(session.start) == 120);
  CHECK(seconds(session.start, session.end) == 3000);
  CHECK(session.pack_kwh.figure->value == doctest::Approx(4.60).scale(0).epsilon(1e-9));
  CHECK(session.coverage == doctest::Approx(1));
  REQUIRE(figures.trips.size() == 2);
  CHECK(figures.trips[0].regen_kwh.figure->value ==
        doctest::Approx(20 / 60.0).scale(0).epsilon(1e-9));
  // The pause gave 0.05 kWh: with the stands, and the net of both is 4.55.
  double given = 0;
  for (const Stand& stand : figures.stands) {
    if (stand.start == stand.end) given += stand.net_kwh.figure->value;
  }
  CHECK(given == doctest::Approx(0.05).scale(0).epsilon(1e-9));
}

TEST_CASE("account: a trip takes five minutes of standing on each side, no more") {
  Scene scene;
  scene.stretch(900, 0, 0.4).stretch(600, 50, 12).stretch(900, 0, 0.4);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.trips.size() == 1);
  const Trip& trip = figures.trips[0];
  CHECK(since_start(trip.start) == doctest::Approx(600).scale(0).epsilon(0.01));
  CHECK(since_start(trip.end) == doctest::Approx(1800).scale(0).epsilon(0.01));
  CHECK(trip.net_kwh.figure->value ==
        doctest::Approx(2.0 + 0.4 * 600 / 3600).scale(0).epsilon(0.002));
  CHECK(trip.coverage == doctest::Approx(1).scale(0).epsilon(0.002));
  CHECK(figures.stands.size() == 2);
  CHECK(trip.distance_km.figure->value == doctest::Approx(50 / 6.0).scale(0).epsilon(0.01));
  CHECK(trip.kwh_per_mile.figure->value ==
        doctest::Approx(trip.net_kwh.figure->value / trip.distance_km.figure->value * kKmPerMile));
  CHECK(trip.wh_per_km.figure->value * kKmPerMile / 1e3 ==
        doctest::Approx(trip.kwh_per_mile.figure->value));
}

TEST_CASE("account: four minutes of standing is a stop, six divide the trip") {
  for (const int stop_s : {240, 360}) {
    Scene scene;
    scene.stretch(300, 50, 12).stretch(stop_s, 0, 0.4).stretch(300, 50, 12);
    const VanFigures figures = account_of({scene.take()});
    CAPTURE(stop_s);
    REQUIRE(figures.trips.size() == (stop_s < 300 ? 1 : 2));
    if (stop_s < 300) continue;
    // Both take of the six minutes: five the first, the rest the second.
    CHECK(seconds(figures.trips[0].end, figures.trips[1].start) == 0);
    CHECK(since_start(figures.trips[0].end) == doctest::Approx(600).scale(0).epsilon(0.01));
    CHECK(figures.stands.empty());
  }
}

// The same drive told by a speed that reads a ninth too much and by one that is right.
TEST_CASE("account: a gap's distance by speed takes the scale that the odometer told") {
  const auto filled = [](bool reads_too_much) {
    Scene scene;
    scene.stretch(200, 0, 0.4).stretch(600, 45, 20);
    scene.pack = false;
    scene.stretch(60, 45, 20);
    scene.pack = true;
    scene.stretch(300, 45, 5).stretch(200, 0, 0.4);
    Episode episode = scene.take();
    EnergyRules rules;
    if (reads_too_much) {
      for (std::uint32_t& kmh : episode.speed.raw) kmh = kmh == 45 ? 50 : kmh;
      rules.km_per_speed_km = 0.9;
    }
    const VanFigures figures = account_of({episode}, {}, agreed_reading(), rules);
    REQUIRE(figures.trips.size() == 1);
    REQUIRE(figures.trips[0].filled_kwh.figure);
    return figures.trips[0].filled_kwh.figure->value;
  };
  CHECK(filled(false) > 0.1);
  CHECK(filled(true) == doctest::Approx(filled(false)).scale(0).epsilon(1e-3));
}

// A minute at 60 km/h between the last answer of the odometer and the silence.
TEST_CASE("account: what was driven after the odometer's last answer is no unseen drive") {
  for (const bool by_speed : {true, false}) {
    Scene scene;
    scene.stretch(300, 60, 12);
    scene.odometer = false;
    scene.speed = by_speed;
    scene.stretch(60, 60, 12);
    std::vector<Episode> episodes{scene.take()};
    scene.odometer = scene.speed = true;
    scene.silence(1800).stretch(120, 0, 0.4);
    episodes.push_back(scene.take());
    const VanFigures figures = account_of(episodes);
    CHECK(figures.trips.size() == (by_speed ? 1 : 2));
  }
}

TEST_CASE("account: two minutes of silence end a trip, and what was driven unseen is a trip too") {
  Scene scene;
  scene.stretch(300, 60, 12).silence(180);
  scene.km += 3;
  scene.soc_code -= 3;
  scene.stretch(300, 60, 12);
  const VanFigures figures = account_of({scene.take()}, nominal(51));
  REQUIRE(figures.trips.size() == 3);
  CHECK(since_start(figures.trips[0].end) == 300);
  CHECK(since_start(figures.trips[2].start) == 480);
  const Trip& unseen = figures.trips[1];
  CHECK(unseen.coverage == 0);
  CHECK(unseen.distance_km.figure->value == doctest::Approx(3).scale(0).epsilon(0.04));
  CHECK(unseen.distance_source == DistanceSource::odometer);
  CHECK(unseen.energy_method == EnergyMethod::soc_nominal);
  CHECK(unseen.net_kwh.figure->value == doctest::Approx(3 * 0.2).scale(0).epsilon(0.01));
  CHECK(unseen.net_kwh.figure->high - unseen.net_kwh.figure->value > 1);
  CHECK(has(unseen.findings, Finding::low_coverage));
}

TEST_CASE("account: a charge ends a trip at once") {
  Scene scene;
  scene.stretch(600, 50, 12).stretch(30, 0, 0.4).stretch(1800, 0, -7).stretch(60, 0, 0.4);
  scene.stretch(600, 50, 12);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.trips.size() == 2);
  REQUIRE(figures.sessions.size() == 1);
  CHECK(figures.trips[0].end == figures.sessions[0].start);
  CHECK(figures.trips[1].start == figures.sessions[0].end);
  CHECK(figures.sessions[0].pack_kwh.figure->value == doctest::Approx(3.5).scale(0).epsilon(1e-9));
}

TEST_CASE("account: a charge in a stop of four minutes is a session between two trips") {
  Scene scene;
  scene.stretch(600, 50, 12).stretch(20, 0, 0.4).stretch(180, 0, -40).stretch(20, 0, 0.4);
  scene.stretch(600, 50, 12);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.sessions.size() == 1);
  CHECK(figures.sessions[0].pack_kwh.figure->value == doctest::Approx(2.0).scale(0).epsilon(1e-9));
  CHECK(figures.trips.size() == 2);
}

TEST_CASE("account: pauses up to a quarter of an hour merge, longer ones do not") {
  for (const int pause_s : {840, 1000}) {
    Scene scene;
    scene.stretch(1200, 0, -7).stretch(pause_s, 0, 0.2).stretch(1200, 0, -7);
    const VanFigures figures = account_of({scene.take()});
    CAPTURE(pause_s);
    CHECK(figures.sessions.size() == (pause_s < 900 ? 1 : 2));
  }
}

TEST_CASE("account: a taper below the leaving power still belongs to its session") {
  Scene scene;
  scene.stretch(1200, 0, -7).stretch(3600, 0, -0.2).stretch(1800, 0, 0);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.sessions.size() == 1);
  CHECK(seconds(figures.sessions[0].start, figures.sessions[0].end) ==
        doctest::Approx(4800).scale(0).epsilon(0.001));
  CHECK(figures.sessions[0].pack_kwh.figure->value ==
        doctest::Approx(7 / 3.0 + 0.2).scale(0).epsilon(1e-9));
}

TEST_CASE("account: a charge of less than 0.1 kWh is standing energy") {
  Scene scene;
  scene.stretch(300, 0, 0.2).stretch(120, 0, -2).stretch(300, 0, 0.2);
  const VanFigures figures = account_of({scene.take()});
  CHECK(figures.sessions.empty());
  REQUIRE(figures.stands.size() == 1);
  CHECK(figures.stands[0].charge_kwh.figure->value ==
        doctest::Approx(2 / 30.0).scale(0).epsilon(1e-9));
  CHECK(figures.stands[0].discharge_kwh.figure->value ==
        doctest::Approx(0.2 / 6).scale(0).epsilon(1e-9));
}

TEST_CASE("account: a shunt is standing energy") {
  Scene scene;
  scene.stretch(600, 0, 0.4).stretch(20, 8, 3).stretch(600, 0, 0.4);
  const VanFigures figures = account_of({scene.take()});
  CHECK(figures.trips.empty());
  REQUIRE(figures.stands.size() == 1);
  CHECK(figures.stands[0].net_kwh.figure->value ==
        doctest::Approx(0.4 / 3 + 3 / 180.0).scale(0).epsilon(1e-6));
}

// Every kWh of awake time is in exactly one place.
TEST_CASE("account: nothing is lost and nothing counts twice") {
  for (std::uint32_t seed = 1; seed <= 60; ++seed) {
    std::mt19937 random{seed};
    const auto pick = [&](int a, int b) {
      return a + static_cast<int>(random() % static_cast<std::uint32_t>(b - a));
    };
    Scene scene;
    std::vector<Episode> episodes;
    for (int day = 0; day < 3; ++day) {
      for (int part = 0; part < 12; ++part) {
        switch (random() % 5) {
          case 0:
            scene.stretch(pick(5, 1500), pick(3, 90), pick(-10, 30));
            break;
          case 1:
            scene.stretch(pick(5, 1500), 0, pick(-11, -1));
            break;
          case 2:
            scene.stretch(pick(5, 900), 0, pick(0, 20) / 10.0);
            break;
          case 3:
            scene.stretch(pick(5, 90), pick(0, 3), pick(-3, 3));
            break;
          case 4:
            scene.silence(pick(1, 900));
            break;
        }
      }
      scene.soc_code = 150;
      if (!scene.episode.pack.time_ms.empty()) episodes.push_back(scene.take());
      scene.silence(4000);
    }
    // No trip unseen, no charge unseen: those are estimates beside the account.
    for (Episode& episode : episodes) episode.soc = {};
    PackDecoder decoder;
    const PackReading reading = agreed_reading();
    double all = 0;
    for (const Episode& episode : episodes) {
      const PackRows rows = decoder.decode(episode.pack, &reading);
      // Silences of more than two minutes hold nothing; all other steps do,
      // bridged or not.
      std::vector<Gap> gaps;
      PowerIntegral integral;
      integral.add(rows, 0, rows.size() - 1, EnergyRules{}.gap_periods, &gaps);
      all += integral.net_kwh();
    }
    const VanFigures figures = account_of(episodes);
    double listed = 0;
    for (const Trip& trip : figures.trips) {
      if (trip.net_kwh.figure && trip.energy_method == EnergyMethod::integrated) {
        listed += trip.net_kwh.figure->value;
        CHECK(std::abs(trip.discharge_kwh.figure->value - trip.regen_kwh.figure->value -
                       trip.net_kwh.figure->value) <= 1e-9 * trip.discharge_kwh.figure->value);
      } else {
        // Less than half of it was seen: not shown as an energy.
        listed = NAN;
      }
    }
    for (const ChargeSession& session : figures.sessions) listed -= session.pack_kwh.figure->value;
    for (const Stand& stand : figures.stands) {
      if (stand.net_kwh.figure) listed += stand.net_kwh.figure->value;
    }
    CAPTURE(seed);
    if (!std::isnan(listed)) CHECK(listed == doctest::Approx(all).scale(0).epsilon(1e-9));
    for (std::size_t i = 1; i < figures.trips.size(); ++i) {
      CHECK(figures.trips[i - 1].end <= figures.trips[i].start);
    }
  }
}

TEST_CASE("account: a charge is seen without speed") {
  for (const bool odometer : {true, false}) {
    for (const bool soc : {true, false}) {
      Scene scene;
      scene.speed = false;
      scene.odometer = odometer;
      scene.soc = soc;
      scene.stretch(300, 0, 0.3).stretch(1800, 0, -7).stretch(300, 0, 0.3);
      const VanFigures figures = account_of({scene.take()});
      CAPTURE(odometer);
      CAPTURE(soc);
      REQUIRE(figures.sessions.size() == 1);
      CHECK(figures.sessions[0].pack_kwh.figure->value ==
            doctest::Approx(3.5).scale(0).epsilon(1e-9));
    }
  }
}

TEST_CASE("account: without speed a falling charge or a moving odometer is no rest") {
  // Regen on a long descent, the odometer running.
  Scene scene;
  scene.speed = false;
  scene.stretch(600, 50, 10).stretch(200, 50, -6).stretch(600, 50, 10);
  const VanFigures figures = account_of({scene.take()});
  CHECK(figures.sessions.empty());
  REQUIRE(figures.trips.size() == 1);
  CHECK(figures.trips[0].distance_source == DistanceSource::odometer);
  CHECK(figures.trips[0].distance_km.figure->value ==
        doctest::Approx(1400 * 50 / 3600.0).scale(0).epsilon(0.02));
}

TEST_CASE("account: a speed that sticks at 0 is not believed against the odometer") {
  Scene scene;
  scene.stretch(600, 60, 12);
  Episode episode = scene.take();
  for (std::uint32_t& v : episode.speed.raw) v = 0;
  const VanFigures figures = account_of({episode});
  REQUIRE(figures.trips.size() == 1);
  CHECK(figures.trips[0].distance_km.figure->value == doctest::Approx(10).scale(0).epsilon(0.02));
}

TEST_CASE("account: what happened between two episodes is told by SoC and odometer") {
  Scene scene;
  scene.stretch(600, 60, 12).stretch(60, 0, 0.2);
  std::vector<Episode> episodes{scene.take()};
  const UtcTime asleep = episodes[0].end;
  scene.silence(6 * 3600);
  scene.soc_code += 60;  // charged by 12 kWh
  scene.stretch(600, 60, 12).stretch(60, 0, 0.2);
  episodes.push_back(scene.take());
  scene.silence(40 * 3600);
  scene.soc_code -= 2;  // stood and lost
  scene.stretch(600, 60, 12).stretch(60, 0, 0.2);
  episodes.push_back(scene.take());
  scene.silence(3600);
  scene.soc_code -= 10;  // driven unseen
  scene.km += 12;
  scene.stretch(600, 60, 12);
  episodes.push_back(scene.take());

  const VanFigures figures = account_of(episodes, nominal(51));
  REQUIRE(figures.sessions.size() == 1);
  const ChargeSession& session = figures.sessions[0];
  CHECK(session.source == SessionSource::inferred);
  CHECK(session.kind == ChargeKind::unknown);
  CHECK(session.start == asleep);
  CHECK(session.end == episodes[1].start);
  CHECK(session.coverage == 0);
  CHECK(session.pack_kwh.figure->value == doctest::Approx(12).scale(0).epsilon(0.02));
  CHECK_FALSE(session.grid_kwh.figure);
  CHECK_FALSE(session.peak_kw.figure);
  CHECK(*session.soc_end_pct > *session.soc_start_pct);

  std::size_t lost = 0;
  for (const Stand& stand : figures.stands) {
    if (stand.coverage > 0) continue;
    ++lost;
    CHECK(stand.net_kwh.figure->value == doctest::Approx(0.4).scale(0).epsilon(0.51));
    CHECK(stand.start == episodes[1].end);
    // Two codes of 51 kWh are no more than a controller changes its mind by in a
    // rest: a point at each end, and a step, by hand 0.2 and 0.721 kWh (1 sd).
    const Figure& fallen = *stand.net_kwh.figure;
    CHECK(fallen.high - fallen.value ==
          doctest::Approx(1.96 * std::hypot(0.2, 0.7212)).epsilon(1e-3));
    CHECK(fallen.scatter == doctest::Approx(fallen.high - fallen.value));
  }
  CHECK(lost == 1);
  REQUIRE(figures.trips.size() == 5);
  const auto unseen = std::find_if(figures.trips.begin(), figures.trips.end(),
                                   [](const Trip& trip) { return trip.coverage == 0; });
  REQUIRE(unseen != figures.trips.end());
  CHECK(unseen->distance_km.figure->value == doctest::Approx(12).scale(0).epsilon(0.01));
  CHECK(unseen->net_kwh.figure->value == doctest::Approx(2).scale(0).epsilon(0.11));

  // Without nominal_kwh the session stays, its energy does not.
  const VanFigures bare = account_of(episodes);
  REQUIRE(bare.sessions.size() == 1);
  CHECK_FALSE(bare.sessions[0].pack_kwh.figure);
  CHECK_FALSE(bare.sessions[0].pack_kwh.why.empty());
}

TEST_CASE("account: a session that a 48 h border cuts is one session") {
  Scene scene;
  scene.stretch(3600, 0, -7);
  Episode first = scene.take();
  first.cut = true;
  scene.silence(1);
  scene.stretch(3600, 0, -7).stretch(60, 0, 0.3);
  const VanFigures figures = account_of({first, scene.take()});
  REQUIRE(figures.sessions.size() == 1);
  CHECK(figures.sessions[0].pack_kwh.figure->value == doctest::Approx(14).scale(0).epsilon(1e-9));
  first.cut = false;
  CHECK(account_of({first}).sessions.size() == 1);
}

// By hand: an hour of 7 kW with 20 s of 10 kW in it, then 0.4 kW; power changes
// at once, between two rows with one stamp.
TEST_CASE("account: hours of a charge by its power, a cut session together") {
  Scene scene;
  scene.stretch(1800, 0, -7).stretch(20, 0, -10).stretch(1800, 0, -7).stretch(200, 0, -0.4);
  const ChargeSession session = account_of({scene.take()}).sessions.at(0);
  CHECK(session.band_hours[2] == doctest::Approx(1));
  CHECK(session.band_hours[3] == doctest::Approx(20.0 / 3600));
  double all = 0;
  for (const double hours : session.band_hours) all += hours;
  CHECK(all == doctest::Approx(1 + 20.0 / 3600));  // 0.4 kW is in no band

  Scene night;
  night.stretch(3600, 0, -7);
  Episode first = night.take();
  first.cut = true;
  night.silence(1);
  night.stretch(3600, 0, -1.5).stretch(60, 0, 0.3);
  const VanFigures cut = account_of({first, night.take()});
  REQUIRE(cut.sessions.size() == 1);
  CHECK(cut.sessions[0].band_hours[2] == doctest::Approx(1));
  CHECK(cut.sessions[0].band_hours[0] == doctest::Approx(1));
}

TEST_CASE("account: a gap in a charge is in no band of its power") {
  Scene scene;
  scene.stretch(1800, 0, -7).silence(90).stretch(1800, 0, -7).stretch(60, 0, 0.3);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.sessions.size() == 1);
  CHECK(figures.sessions[0].coverage < 1);
  CHECK(figures.sessions[0].band_hours[2] == doctest::Approx(1));
}

TEST_CASE("account: peak power, kind and grid energy of an AC charge") {
  Scene scene;
  scene.stretch(1800, 0, -7).stretch(20, 0, -8).stretch(1800, 0, -7).stretch(60, 0, 0.3);
  const Episode episode = scene.take();
  const ChargeSession session = account_of({episode}, rated(8.5)).sessions.at(0);
  CHECK(session.kind == ChargeKind::ac);
  CHECK(session.peak_kw.figure->value == doctest::Approx(8).scale(0).epsilon(1e-9));
  const double hours = seconds(session.start, session.end) / 3600;
  CHECK(session.grid_kwh.figure->value ==
        doctest::Approx((session.pack_kwh.figure->value + 0.2 * hours) / 0.925)
            .scale(0)
            .epsilon(1e-9));
  const ChargeSession unrated = account_of({episode}).sessions.at(0);
  CHECK(unrated.kind == ChargeKind::unknown);
  CHECK_FALSE(unrated.grid_kwh.figure);
  CHECK(unrated.grid_kwh.why.find("onboard_charger_kw") != std::string::npos);
}

TEST_CASE("account: charging asked every five seconds has whole coverage") {
  Scene scene;
  scene.period_ms = 5000;
  scene.stretch(3600, 0, -7).stretch(300, 0, 0.4);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.sessions.size() == 1);
  CHECK(figures.sessions[0].coverage == doctest::Approx(1).scale(0).epsilon(1e-6));
  CHECK(figures.sessions[0].findings.empty());
}

TEST_CASE("account: answers that come more slowly than asked are told") {
  Scene scene;
  scene.stretch(600, 60, 12);
  Episode episode = scene.take();
  for (std::uint32_t& period : episode.pack.period_ms) period = 500;
  const Trip trip = account_of({episode}).trips.at(0);
  CHECK(has(trip.findings, Finding::poll_rate_missed));
  CHECK(trip.coverage == doctest::Approx(1).scale(0).epsilon(0.01));
  for (std::uint32_t& period : episode.pack.period_ms) period = 0;
  CHECK_FALSE(has(account_of({episode}).trips.at(0).findings, Finding::poll_rate_missed));
}

TEST_CASE("account: odometer, time measured") {
  Scene scene;
  scene.soc_code = 230;
  scene.code_kwh = 1e9;
  scene.stretch(3600, 0, 0.2);
  std::vector<Episode> episodes{scene.take()};
  scene.silence(4000);
  scene.soc_code = 40;
  scene.stretch(1800, 36, 2);
  episodes.push_back(scene.take());
  const VanFigures figures = account_of(episodes);
  CHECK(*figures.odometer_first_km == doctest::Approx(1000));
  CHECK(*figures.odometer_last_km == doctest::Approx(1018));
  CHECK(*figures.measured_from == episodes[0].start);
  CHECK(*figures.measured_to == episodes[1].end);
  REQUIRE(figures.swings.size() == 1);
  CHECK(figures.swings[0].depth_pct == doctest::Approx(190 * kSocPctPerCode));
}

TEST_CASE("account: an account can be finished and used again") {
  Scene scene;
  scene.stretch(600, 60, 12);
  const Episode episode = scene.take();
  VanAccount account{{}, {agreed_reading()}};
  account.add(episode);
  CHECK(account.finish().trips.size() == 1);
  CHECK(account.finish().trips.empty());
  account.add(episode);
  CHECK(account.finish().trips.size() == 1);
}

TEST_CASE("account: any words at any times are survived") {
  for (std::uint32_t seed = 1; seed <= 200; ++seed) {
    std::mt19937 random{seed};
    VanAccount account{VanFacts{60, 150, 11}, {agreed_reading()}};
    std::int64_t t = kReplayStartMs;
    for (int e = 0; e < 3; ++e) {
      Episode episode;
      const auto rows = static_cast<std::uint32_t>(random() % 3000);
      for (std::uint32_t i = 0; i < rows; ++i) {
        t += random() % 50 == 0 ? static_cast<std::int64_t>(random() % 900'000)
                                : static_cast<std::int64_t>(random() % 1000);
        if (random() % 8 != 0) {
          episode.pack.time_ms.push_back(t);
          episode.pack.v_raw.push_back(static_cast<std::uint16_t>(random()));
          episode.pack.a_raw.push_back(static_cast<std::uint16_t>(random()));
          episode.pack.period_ms.push_back(random() % 4 == 0 ? static_cast<std::uint32_t>(random())
                                                             : 200);
        }
        if (random() % 2) add_sample(episode.speed, t, static_cast<std::uint32_t>(random() % 300));
        if (random() % 4 == 0) add_sample(episode.soc, t, static_cast<std::uint32_t>(random()));
        if (random() % 8 == 0)
          add_sample(episode.odometer, t, static_cast<std::uint32_t>(random()));
        if (random() % 8 == 0) add_sample(episode.ambient, t, static_cast<std::uint32_t>(random()));
      }
      close_episode(episode);
      account.add(episode);
      t += static_cast<std::int64_t>(random() % 10'000'000);
    }
    const VanFigures figures = account.finish();
    for (const Trip& trip : figures.trips) {
      CHECK(trip.coverage >= 0);
      CHECK(trip.coverage <= 1);
      if (trip.net_kwh.figure) CHECK(std::isfinite(trip.net_kwh.figure->low));
      if (trip.kwh_per_mile.figure) CHECK(std::isfinite(trip.kwh_per_mile.figure->low));
    }
    for (const ChargeSession& session : figures.sessions) {
      if (session.pack_kwh.figure) CHECK(std::isfinite(session.pack_kwh.figure->high));
    }
  }
}

}  // namespace packmile
