// The kinetic balance of braking, on drives whose share is known.
#include "duty/friction.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

namespace packmile::testing {
namespace {

// A level road, 2,900 kg, rolling 0.0105, drag area 1.9 m2: the middle of the
// ranges. Of what the brakes take `friction` goes into the pads, the rest through
// 0.75 into the pack, beside 1 kW that the van takes at any time.
constexpr double kMassKg = 2'900, kRolling = 0.0105, kAreaM2 = 1.9, kRegen = 0.75;

std::vector<DriveSample> stops(double friction, int count) {
  std::vector<DriveSample> out;
  double time = 0;
  constexpr double kStep = 0.5;
  for (int stop = 0; stop < count; ++stop) {
    for (double kmh = 0; kmh < 54; kmh += 3, time += kStep) out.push_back({time, kmh, 20.0});
    for (double kmh = 54; kmh >= 0; kmh -= 3, time += kStep) {
      const double v = kmh / 3.6, a = 3 / 3.6 / kStep;
      const double freed = kMassKg * 1.03 * v * a;
      const double road = kMassKg * 9.80665 * kRolling * v + 0.6 * kAreaM2 * v * v * v;
      out.push_back({time, kmh, 1 - (1 - friction) * (freed - road) * kRegen / 1000});
    }
    for (int k = 0; k < 20; ++k, time += kStep) out.push_back({time, 0.0, 1.0});
  }
  return out;
}

}  // namespace

// 0.5 m v^2.
TEST_CASE("The kinetic energy of 2,900 kg at 30, 50 and 90 km/h") {
  CHECK(kinetic_kwh(2'900, 30) == doctest::Approx(0.02797).epsilon(1e-3));
  CHECK(kinetic_kwh(2'900, 50) == doctest::Approx(0.07770).epsilon(1e-4));
  CHECK(kinetic_kwh(2'900, 90) == doctest::Approx(0.25174).epsilon(1e-4));
}

TEST_CASE("The known share of friction comes out, inside its range") {
  for (const double friction : {0.0, 0.2, 0.6, 1.0}) {
    const MaybeFigure share = friction_share(sum_falls(stops(friction, 40)), kMassKg);
    REQUIRE(share.figure);
    CHECK(share.figure->value == doctest::Approx(friction).epsilon(0.02).scale(1));
    CHECK(share.figure->low <= friction + 1e-9);
    CHECK(share.figure->high >= friction - 1e-9);
  }
  const auto wide = friction_share(sum_falls(stops(0.2, 40)), kMassKg).figure;
  CHECK(wide->high - wide->low > 0.1);
}

TEST_CASE("More friction is a greater share: a trend is seen") {
  double before = -1;
  for (const double friction : {0.1, 0.3, 0.5}) {
    const double share = friction_share(sum_falls(stops(friction, 40)), kMassKg).figure->value;
    CHECK(share > before + 0.1);
    before = share;
  }
}

TEST_CASE("A fall counts from its last peak to its first least, and chatter not at all") {
  std::vector<DriveSample> trip;
  const std::vector<double> speeds{30, 30, 29, 30, 28, 20, 10, 11, 10, 0, 0, 0, 2, 0};
  for (std::size_t k = 0; k < speeds.size(); ++k)
    trip.push_back({static_cast<double>(k), speeds[k], 0.0});
  const FallSums sums = sum_falls(trip);
  const double v = 30 / 3.6;
  CHECK(sums.kinetic_j_per_kg == doctest::Approx(v * v / 2));
  CHECK(sums.fall_s == doctest::Approx(6));  // from the second 3 to the second 9
}

TEST_CASE("A silence ends a fall") {
  const std::vector<DriveSample> trip{{0, 50, 0.0}, {1, 40, 0.0}, {60, 10, 0.0}, {61, 0, 0.0}};
  const FallSums sums = sum_falls(trip);
  const auto half_square = [](double kmh) { return kmh / 3.6 * (kmh / 3.6) / 2; };
  CHECK(sums.kinetic_j_per_kg ==
        doctest::Approx(half_square(50) - half_square(40) + half_square(10)));
}

TEST_CASE("Little braking, or braking whose power was not seen, tells no share") {
  CHECK_FALSE(friction_share(sum_falls(stops(0.2, 2)), kMassKg).figure);
  CHECK_FALSE(friction_share(sum_falls({}), kMassKg).figure);
  auto blind = stops(0.2, 40);
  for (std::size_t k = 0; k < blind.size(); k += 2) blind[k].pack_kw.reset();
  const auto share = friction_share(sum_falls(blind), kMassKg);
  CHECK_FALSE(share.figure);
  CHECK(share.why.find("not seen") != std::string::npos);
}

TEST_CASE("Falls of trips add up") {
  const auto one = sum_falls(stops(0.3, 5));
  FallSums twice = one;
  twice += one;
  CHECK(twice.kinetic_j_per_kg == doctest::Approx(2 * one.kinetic_j_per_kg));
  CHECK(sum_falls(stops(0.3, 10)).regen_kwh == doctest::Approx(twice.regen_kwh));
}

TEST_CASE("What a friction share assumes is said with the figures that it is drawn from") {
  FrictionRules rules;
  rules.mass_u = 0.2;
  rules.regen_high = 0.9;
  const std::string text = friction_assumes(rules);
  CHECK(text.find("its mass to 20 %") != std::string::npos);
  CHECK(text.find("65 to 90 %") != std::string::npos);
  CHECK(text.find("a level road") != std::string::npos);
}

}  // namespace packmile::testing
