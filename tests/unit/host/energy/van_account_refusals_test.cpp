// What an account says when it was not all seen or cannot be known: coverage,
// fills, and figures that are refused with a reason.
#include <doctest/doctest.h>

#include "energy/integrate.hpp"
#include "energy/van_account.hpp"
#include "host/energy/van_scene.hpp"

namespace packmile {

using namespace testing;

TEST_CASE("account: a gap lowers the coverage and is estimated apart") {
  Scene scene;
  scene.stretch(600, 60, 12).silence(8);
  scene.km += 8 / 60.0;
  scene.stretch(600, 60, 12);
  const VanFigures figures = account_of({scene.take()});
  REQUIRE(figures.trips.size() == 1);
  const Trip& trip = figures.trips[0];
  CHECK(trip.net_kwh.figure->value == doctest::Approx(4.0).scale(0).epsilon(1e-9));
  CHECK(trip.coverage == doctest::Approx(1200.0 / 1208).scale(0).epsilon(1e-6));
  CHECK(trip.filled_kwh.figure->value == doctest::Approx(12 * 8 / 3600.0).scale(0).epsilon(1e-9));
  // 1.1 * 8^1.34 Wh.
  CHECK(trip.filled_kwh.figure->scatter / kZ95 == doctest::Approx(0.01785).scale(0).epsilon(0.002));
  CHECK(has(trip.findings, Finding::gap));
  CHECK(has(trip.findings, Finding::filled_gap));
  const double per_mile =
      (4.0 + trip.filled_kwh.figure->value) / trip.distance_km.figure->value * kKmPerMile;
  CHECK(trip.kwh_per_mile.figure->value == doctest::Approx(per_mile).scale(0).epsilon(1e-9));
}

TEST_CASE("account: an unanswered minute of driving is filled by its distance") {
  Scene scene;
  scene.stretch(600, 60, 12);
  const int gap_s = 60;
  // Only the pack words are missing; speed and odometer go on.
  scene.pack = false;
  scene.stretch(gap_s, 60, 12);
  scene.pack = true;
  scene.stretch(600, 60, 12);
  const Trip trip = account_of({scene.take()}).trips.at(0);
  CHECK(trip.filled_kwh.figure->value == doctest::Approx(0.2).scale(0).epsilon(0.01));
  // 40 Wh * 6^0.8.
  CHECK(trip.filled_kwh.figure->scatter / kZ95 == doctest::Approx(0.1677).scale(0).epsilon(0.01));
}

TEST_CASE("account: less than half seen is no energy but the state of charge's") {
  Scene scene;
  scene.stretch(200, 60, 12);
  scene.pack = false;
  scene.stretch(800, 60, 12);
  const Episode episode = scene.take();
  const Trip without = account_of({episode}).trips.at(0);
  CHECK_FALSE(without.net_kwh.figure);
  CHECK(without.net_kwh.why.find("nominal_kwh") != std::string::npos);
  CHECK(without.energy_method == EnergyMethod::none);
  CHECK(has(without.findings, Finding::low_coverage));
  const Trip with = account_of({episode}, nominal(51)).trips.at(0);
  CHECK(with.energy_method == EnergyMethod::soc_nominal);
  CHECK(with.net_kwh.figure->value == doctest::Approx(12 * 1000 / 3600.0).scale(0).epsilon(0.1));
}

TEST_CASE("account: without a verdict there is no energy, never 0, always a reason") {
  for (const auto verdict : {CurrentVerdict::contradictory, CurrentVerdict::too_little,
                             CurrentVerdict::not_pack_current}) {
    PackReading reading = agreed_reading();
    reading.verdict = verdict;
    reading.evidence = "so it was found";
    Scene scene;
    scene.stretch(600, 60, 12).stretch(600, 0, 0.4).stretch(3600, 0, -7);
    // Even with nominal_kwh: doubtful words are not the same as none.
    const VanFigures figures = account_of({scene.take()}, nominal(51), reading);
    REQUIRE(figures.trips.size() == 1);
    const Trip& trip = figures.trips[0];
    CHECK(trip.current_verdict == verdict);
    CHECK(trip.energy_method == EnergyMethod::none);
    for (const MaybeFigure* figure :
         {&trip.net_kwh, &trip.discharge_kwh, &trip.regen_kwh, &trip.discharge_ah, &trip.regen_ah,
          &trip.kwh_per_mile, &trip.wh_per_km, &trip.filled_kwh}) {
      CHECK_FALSE(figure->figure);
      CHECK(figure->why.find("so it was found") != std::string::npos);
    }
    CHECK(has(trip.findings, Finding::pack_current_undecided));
    CHECK(trip.distance_km.figure);
    // The charge shows in the state of charge.
    REQUIRE(figures.sessions.size() == 1);
    CHECK_FALSE(figures.sessions[0].pack_kwh.figure);
    CHECK(figures.sessions[0].source == SessionSource::inferred);
  }
}

TEST_CASE("account: a van without pack words has energy by its state of charge") {
  Scene scene;
  scene.pack = false;
  scene.stretch(1800, 60, 12).stretch(600, 0, 0).stretch(3600, 0, -7);
  const Episode episode = scene.take();
  const VanFigures with = account_of({episode}, nominal(51));
  REQUIRE(with.trips.size() == 1);
  CHECK(with.trips[0].energy_method == EnergyMethod::soc_nominal);
  CHECK(with.trips[0].net_kwh.figure->value == doctest::Approx(6).scale(0).epsilon(0.04));
  CHECK(with.trips[0].kwh_per_mile.figure);
  CHECK_FALSE(with.trips[0].discharge_kwh.figure);
  REQUIRE(with.sessions.size() == 1);
  CHECK(with.sessions[0].source == SessionSource::inferred);
  CHECK(with.sessions[0].pack_kwh.figure->value == doctest::Approx(7).scale(0).epsilon(0.05));
  const VanFigures without = account_of({episode});
  CHECK_FALSE(without.trips.at(0).net_kwh.figure);
  CHECK_FALSE(without.trips.at(0).net_kwh.why.empty());
  CHECK_FALSE(without.sessions.at(0).pack_kwh.figure);
}

TEST_CASE("account: a trip whose state of charge stands still over 3 Ah contradicts") {
  Scene scene;
  scene.code_kwh = 1e9;
  scene.stretch(600, 60, 12);  // 10 Ah at 200 V
  const Trip trip = account_of({scene.take()}).trips.at(0);
  CHECK(trip.current_verdict == CurrentVerdict::contradictory);
  CHECK_FALSE(trip.net_kwh.figure);
  CHECK_FALSE(trip.net_kwh.why.empty());
  Scene silent;
  silent.soc = false;
  silent.stretch(600, 60, 12);
  CHECK(account_of({silent.take()}).trips.at(0).net_kwh.figure);
}

TEST_CASE("account: a controller that waits near full for its pack is no contradiction") {
  // 160 Ah, charged with 20 A, 4 Ah of them while the controller stands at 247.
  const auto charge = [](double waits_ah, std::optional<double> nominal_ah) {
    Scene scene;
    scene.soc_code = 120;
    const auto rise = [&scene](double ah) {
      scene.code_kwh = 0.2 * 160 / 255;
      scene.stretch(static_cast<int>(std::lround(ah * 3600 / 20)), 0, -4);
    };
    rise(127 * 160.0 / 255);
    scene.code_kwh = 1e9;
    scene.stretch(static_cast<int>(std::lround(waits_ah * 3600 / 20)), 0, -4);
    rise(5 * 160.0 / 255);
    VanFacts facts;
    facts.nominal_ah = nominal_ah;
    return account_of({scene.take()}, facts).sessions.at(0);
  };
  // What the pack holds is told by the office, or by the charge itself.
  for (const std::optional<double> nominal_ah : {std::optional{160.0}, std::optional<double>{}}) {
    const ChargeSession waits = charge(4, nominal_ah);
    CHECK(waits.current_verdict == CurrentVerdict::agreed);
    REQUIRE(waits.pack_ah.figure);
    CHECK(waits.pack_ah.figure->value == doctest::Approx(132 * 160.0 / 255 + 4).epsilon(0.001));
    // 8 of 255 codes are 5.0 Ah of it.
    const ChargeSession stuck = charge(6, nominal_ah);
    CHECK(stuck.current_verdict == CurrentVerdict::contradictory);
    CHECK(has(stuck.findings, Finding::soc_against_current));
    // And the code itself, whose edges lie half a code off.
    CHECK(stuck.pack_kwh.why.find("6.6 Ah") != std::string::npos);
  }
  // A pack of 60 Ah: 4 Ah are 17 codes.
  CHECK(charge(4, 60.0).current_verdict == CurrentVerdict::contradictory);
}

TEST_CASE("account: no figure per mile below a kilometre or on a doubted distance") {
  Scene scene;
  scene.stretch(100, 30, 5).stretch(10, 0, 0.4);
  const Trip trip = account_of({scene.take()}).trips.at(0);
  CHECK(trip.net_kwh.figure);
  CHECK_FALSE(trip.kwh_per_mile.figure);
  CHECK(trip.kwh_per_mile.why == "shorter than 1 km");
  Scene doubted;
  doubted.stretch(600, 60, 12);
  Episode episode = doubted.take();
  for (std::uint32_t& v : episode.speed.raw) v /= 2;
  const Trip other = account_of({episode}).trips.at(0);
  CHECK(has(other.findings, Finding::odometer_against_speed));
  CHECK_FALSE(other.kwh_per_mile.figure);
}

}  // namespace packmile
