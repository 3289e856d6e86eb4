#include "reading/rest_scatter.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <vector>

#include "reading/pack_reading.hpp"

namespace packmile {
namespace {

// Volts of a usual pack at rest: a slope and a bend.
double rest_volts(double soc_pct) { return 320 + 0.7 * soc_pct + 8e-4 * soc_pct * soc_pct; }

std::vector<RestReading> rests_of(std::size_t count, double scatter_pct, double step_pct,
                                  std::mt19937_64& chance) {
  std::uniform_real_distribution<double> anywhere(20, 95);
  std::normal_distribution<double> off(0, 1);
  std::vector<RestReading> rests;
  for (std::size_t i = 0; i < count; ++i) {
    const double true_pct = anywhere(chance);
    const double shown = true_pct + scatter_pct * off(chance);
    rests.push_back({rest_volts(true_pct), step_pct * std::round(shown / step_pct), step_pct});
  }
  return rests;
}

double mean_square_pct(std::size_t count, double scatter_pct, double step_pct) {
  std::mt19937_64 chance(20260101);
  double sum = 0;
  constexpr int kRounds = 400;
  for (int round = 0; round < kRounds; ++round)
    sum += std::pow(100 * rest_scatter_u(rests_of(count, scatter_pct, step_pct, chance)), 2);
  return std::sqrt(sum / kRounds);
}

}  // namespace

TEST_CASE("rest scatter: without rests it is what is taken without evidence") {
  CHECK(rest_scatter_u({}) == doctest::Approx(kSocAtRestU));
  const std::vector<RestReading> two{{350, 50, 0.4}, {350, 58, 0.4}};
  CHECK(rest_scatter_u(two) == doctest::Approx(kSocAtRestU));
}

TEST_CASE("rest scatter: three rests by hand") {
  // The middle one of 350, 352.5 and 355 V lies 3 points above the line between the others:
  // 3^2 / (1 + 1/4 + 1/4) = 6, less 1/12 for steps of 1 point, counted half; three rests of
  // 1 point beside: (3 + 2.9583) / 3.5 = 1.7024.
  const std::vector<RestReading> rests{{355, 52, 1}, {352.5, 54, 1}, {350, 50, 1}};
  CHECK(100 * rest_scatter_u(rests) == doctest::Approx(1.3048).epsilon(1e-4));
}

TEST_CASE("rest scatter: a month's rests tell the scatter of the controller, whatever its step") {
  for (const double step_pct : {100.0 / 255, 1.0}) {
    CAPTURE(step_pct);
    // 3 rests' worth of one point, 30 of what is there: sqrt((3 + 29 s^2) / 32) at best.
    CHECK(mean_square_pct(60, 0.45, step_pct) == doctest::Approx(0.53).epsilon(0.06));
    CHECK(mean_square_pct(60, 1.6, step_pct) == doctest::Approx(1.55).epsilon(0.06));
  }
  // A handful hardly moves it.
  CHECK(mean_square_pct(4, 0.45, 0.4) > 0.8);
}

TEST_CASE("rest scatter: a voltage that hardly changes with the charge tells nothing") {
  std::mt19937_64 chance(7);
  std::vector<RestReading> rests = rests_of(40, 0.5, 0.4, chance);
  for (RestReading& rest : rests) rest.pack_v = 330 + 0.01 * (rest.pack_v - 330);
  CHECK(100 * rest_scatter_u(rests) < 4);
}

}  // namespace packmile
