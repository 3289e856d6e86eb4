// What mechanisms make of a van: the draws, its sensors, its controller, its pack.
#include "benchvan/van_traits.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <set>

#include "benchvan/month_plan.hpp"
#include "benchvan/sensors.hpp"
#include "benchvan/truth.hpp"

using namespace packmile::benchvan;

namespace {

constexpr std::int64_t kMonday = 1767571200000;

Mechanisms with(std::initializer_list<std::string_view> names) {
  Mechanisms mechanisms;
  for (const std::string_view name : names) REQUIRE(set_mechanism(mechanisms, name));
  return mechanisms;
}

// An hour at rest with that current in the middle of it.
Track hour(double pack_a) {
  Track track;
  for (int second = 0; second <= 3600; ++second) {
    track.time_s.push_back(second);
    track.column(Quantity::speed_kmh).push_back(0);
    track.column(Quantity::pack_v).push_back(360 + second / 100.0);
    track.column(Quantity::pack_a).push_back(pack_a);
    track.column(Quantity::soc_pct).push_back(50);
    track.column(Quantity::odometer_km).push_back(1000);
  }
  return track;
}

}  // namespace

TEST_CASE("mechanisms: every one has a name, and what is drawn is what is modelled") {
  Mechanisms drawn;
  REQUIRE(set_mechanism(drawn, kDrawn));
  std::set<std::string_view> names;
  for (const MechanismName& one : mechanism_names()) {
    CHECK(names.insert(one.name).second);
    CHECK(drawn.*one.flag == one.modelled);
    CHECK(mechanism_help().find(one.meaning) != std::string::npos);
  }
  Mechanisms none;
  CHECK_FALSE(set_mechanism(none, "no-such-mechanism"));
}

TEST_CASE("traits: a van without mechanisms is as on paper") {
  const VanTraits traits = draw_traits({}, 7);
  CHECK(traits.offset_a == 0);
  CHECK(traits.gain == 0);
  CHECK(traits.pack.capacity_ah == kNominalAh);
  CHECK(traits.believed_ah == kNominalAh);
  CHECK(traits.dc_share == 0);
}

// Source: the decoder's stated distributions: offset 0.3 A, gain 0.6 %, voltage
// 0.3 %, capacity 5 %, tyres 1.5 % (sd); charger 0.90..0.95 (rectangle).
TEST_CASE("traits: drawn with the spread that the intervals state") {
  const Mechanisms mechanisms = with({kDrawn});
  constexpr int kVans = 4000;
  double offset2 = 0, gain2 = 0, volt2 = 0, ah2 = 0, tyres2 = 0, efficiency = 0;
  for (std::uint64_t seed = 1; seed <= kVans; ++seed) {
    const VanTraits traits = draw_traits(mechanisms, seed);
    offset2 += traits.offset_a * traits.offset_a;
    gain2 += traits.gain * traits.gain;
    volt2 += traits.voltage_gain * traits.voltage_gain;
    ah2 += std::pow(traits.pack.capacity_ah / kNominalAh - 1, 2);
    tyres2 += traits.odometer_scale * traits.odometer_scale;
    efficiency += traits.ac_efficiency;
    CHECK(traits.ac_efficiency >= 0.90);
    CHECK(traits.ac_efficiency < 0.95);
  }
  // The sd of an sd of 4000 draws is 1.1 %.
  CHECK(std::sqrt(offset2 / kVans) == doctest::Approx(0.3).epsilon(0.05));
  CHECK(std::sqrt(gain2 / kVans) == doctest::Approx(0.006).epsilon(0.05));
  CHECK(std::sqrt(volt2 / kVans) == doctest::Approx(0.003).epsilon(0.05));
  CHECK(std::sqrt(ah2 / kVans) == doctest::Approx(0.05).epsilon(0.05));
  CHECK(std::sqrt(tyres2 / kVans) == doctest::Approx(0.015).epsilon(0.05));
  CHECK(efficiency / kVans == doctest::Approx(0.925).epsilon(0.005));
}

TEST_CASE("traits: one mechanism more leaves the rest of the van as it was") {
  const VanTraits all = draw_traits(with({kDrawn}), 11);
  const VanTraits lagging = draw_traits(with({kDrawn, "v-lag"}), 11);
  CHECK(lagging.offset_a == all.offset_a);
  CHECK(lagging.pack.capacity_ah == all.pack.capacity_ah);
  CHECK(lagging.voltage_lag_s > 0);
  CHECK(draw_traits(with({"offset"}), 11).offset_a == all.offset_a);
}

TEST_CASE("sensors: offset, gain and a voltage that comes later") {
  VanTraits traits = draw_traits({}, 1);
  traits.offset_a = 0.4;
  traits.gain = 0.01;
  traits.voltage_lag_s = 0.6;
  Sensors sensors(traits, 1, 50, 1000);
  Track track = hour(20);
  sensors.show(track, 0, 20);
  CHECK(track.column(Quantity::pack_a)[100] == doctest::Approx(1.01 * 20 + 0.4));
  CHECK(track.column(Quantity::pack_v)[100] == doctest::Approx(361 - 0.006));
  CHECK(track.column(Quantity::pack_v)[0] == 360);
  CHECK(track.column(Quantity::soc_pct)[3600] == 50);  // true, as it was
}

TEST_CASE("sensors: the offset moves with warmth, within its spread") {
  VanTraits traits = draw_traits({}, 1);
  traits.offset_a = 0.4;
  traits.offset_wander_a = 0.07;
  traits.offset_wander_phase = 0.25;
  double sum_a = 0;
  constexpr int kMoments = 34;
  for (int moment = 0; moment < kMoments; ++moment) {
    Sensors sensors(traits, 1, 50, 1000);
    Track track = hour(20);
    sensors.show(track, moment * kOffsetWanderDays / kMoments, 20);
    const double shown_a = track.column(Quantity::pack_a)[100];
    // At its greatest first, and nowhere more.
    if (moment == 0) CHECK(shown_a == doctest::Approx(20.47));
    CHECK(std::abs(shown_a - 20.4) < 0.0701);
    sum_a += shown_a;
  }
  CHECK(sum_a / kMoments == doctest::Approx(20.4).epsilon(1e-6));
}

TEST_CASE("sensors: at rest a controller is wrong by its table and its scatter, a point in all") {
  double squares = 0;
  constexpr int kVans = 300;
  constexpr int kRests = 12;
  for (std::uint64_t seed = 1; seed <= kVans; ++seed) {
    const VanTraits traits = draw_traits(with({kDrawn}), seed);
    Sensors sensors(traits, seed, 50, 1000);
    for (int rest = 0; rest < kRests; ++rest) sensors.rest(3 * 3600, 50);
    Track track = hour(0);
    sensors.show(track, 0, 20);
    squares += std::pow(track.column(Quantity::soc_pct)[0] - 50, 2);
  }
  // The sd of an sd of 300 draws is 4 %; the answer's step adds to it.
  CHECK(std::sqrt(squares / kVans) == doctest::Approx(1).epsilon(0.15));
}

TEST_CASE("sensors: the controller counts over the Ah that it believes in") {
  VanTraits traits = draw_traits({}, 1);
  traits.mechanisms.controller = true;
  traits.believed_ah = 160;
  traits.own_offset_a = 0.1;
  Sensors sensors(traits, 1, 50, 1000);
  Track track = hour(16);
  sensors.show(track, 0, 20);
  // By hand: 16.1 Ah of 160.
  CHECK(track.column(Quantity::soc_pct).back() == doctest::Approx(50 - 100 * 16.1 / 160));
  CHECK(sensors.controller_soc_pct() == doctest::Approx(39.9375));

  traits.soc_step_pct = 1;
  Sensors coarse(traits, 1, 50, 1000);
  track = hour(16);
  coarse.show(track, 0, 20);
  for (const double pct : track.column(Quantity::soc_pct)) CHECK(pct == std::floor(pct));
  CHECK(track.column(Quantity::soc_pct).back() == 39);

  traits.soc_step_pct = 0;
  traits.soc_slew_pct_per_s = 1.0 / 3600;
  Sensors slow(traits, 1, 50, 1000);
  track = hour(16);
  slow.show(track, 0, 20);
  CHECK(track.column(Quantity::soc_pct).back() == doctest::Approx(49));
}

TEST_CASE("sensors: a rest is believed in part, a jump is one, a relearnt capacity counts") {
  VanTraits traits = draw_traits({}, 1);
  traits.mechanisms.believes_160_of_140 = true;
  traits.believed_ah = 160;
  Sensors sensors(traits, 1, 60, 1000);
  sensors.rest(600, 57);
  CHECK(sensors.controller_soc_pct() == 60);
  sensors.rest(3 * 3600, 57);
  CHECK(sensors.controller_soc_pct() == doctest::Approx(59));
  traits.jump_pct = -6;
  traits.relearnt_ah = 80;
  Sensors jumping(traits, 1, 60, 1000);
  jumping.mid_month(58);
  CHECK(jumping.controller_soc_pct() == doctest::Approx(52));
  Track track = hour(8);
  jumping.show(track, 0, 20);
  CHECK(jumping.controller_soc_pct() == doctest::Approx(42));
}

TEST_CASE("pack model: balance fills no cell, the slow resistance relaxes, capacity fades") {
  PackModel pack({.capacity_ah = 100, .slow_share = 0.6, .has_temperature = true}, 50);
  pack.flow(-1, 3600, 20, true);
  CHECK(pack.soc_pct() == 50);
  const double settled_v = pack.at_power(0, 20).pack_v;
  for (int second = 0; second < 600; ++second) pack.flow(50, 1, 20);
  CHECK(pack.soc_pct() == doctest::Approx(50 - 50.0 / 6));
  const double open_v = pack.open_circuit_v();
  // By hand: 0.6 * 0.085 ohm * 50 A, a little less for what it has warmed up.
  CHECK(open_v - pack.at_power(0, 20).pack_v == doctest::Approx(2.55).epsilon(0.02));
  CHECK(pack.temp_c(20) > 20.1);
  pack.rest(3600, 20);
  CHECK(pack.at_power(0, 20).pack_v == doctest::Approx(open_v));
  CHECK(settled_v > open_v);
  pack.fade_to(80);
  pack.flow(8, 3600, 20);
  CHECK(pack.soc_pct() == doctest::Approx(50 - 50.0 / 6 - 10));
}

TEST_CASE("month plan: the truth is what happened, the track what the sensors make of it") {
  const std::uint64_t seed = 21;
  MESSAGE("seed ", seed);
  VanTraits traits = draw_traits(with({kDrawn}), seed);
  REQUIRE(std::fabs(traits.offset_a) > 0.02);
  traits.offset_wander_a = 0;
  MonthPlan plan({.name = "alder",
                  .vin = "0PMLVAN18T0000100",
                  .odometer_km = 1000,
                  .seed = seed,
                  .traits = traits},
                 30, kMonday);
  double shown_ah = 0, true_ah = 0, hours = 0, shown_km = 0;
  while (std::optional<Act> act = plan.next()) {
    const TrackTruth shown = measure(act->track);
    shown_ah += shown.discharge_ah - shown.charge_ah;
    hours += act->track.duration_s() / 3600;
    shown_km = act->track.column(Quantity::odometer_km).back();
  }
  const nlohmann::ordered_json truth = plan.truth();
  const auto& through = truth["throughput"];
  true_ah = through["discharge_ah"].get<double>() - through["charge_ah"].get<double>();
  // What the sensor adds: an offset for the hours, a gain on the rest.
  CHECK(shown_ah == doctest::Approx((1 + traits.gain) * true_ah + traits.offset_a * hours));
  double true_km = 0;
  for (const auto& trip : truth["trips"]) true_km += trip["distance_km"].get<double>();
  CHECK(shown_km - 1000 == doctest::Approx((1 + traits.odometer_scale) * true_km));
  CHECK(through["odometer_km"].get<double>() == doctest::Approx(shown_km));
  int dc = 0;
  for (const auto& session : truth["sessions"]) {
    dc += session["kind"] == "dc" ? 1 : 0;
    CHECK(session["grid_kwh"].get<double>() > session["pack_kwh"].get<double>());
    // Nobody plugs in for nothing.
    CHECK(session["pack_kwh"].get<double>() > 1);
  }
  CHECK(dc >= 1);
  CHECK(truth["pack"]["capacity_ah_end"].get<double>() < traits.pack.capacity_ah);
  CHECK(truth["pack"]["offset_a"].get<double>() == traits.offset_a);
  CHECK(truth["capacity"].size() == 1);
}
