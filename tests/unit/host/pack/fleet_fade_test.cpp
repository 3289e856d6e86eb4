// Age and use told apart over several vans with a known truth.
#include "pack/fleet_fade.hpp"

#include <doctest/doctest.h>

#include <cstdio>
#include <random>
#include <string>
#include <vector>

namespace packmile::testing {

TEST_CASE("fleet fade: vans that drive unlike distances tell age from use") {
  std::normal_distribution<double> normal;
  std::mt19937 random{71};  // seed 71
  const auto fleet = [&](std::vector<double> km_a_month, double sd) {
    std::vector<FleetFadeVan> vans;
    for (const double km : km_a_month) {
      FleetFadeVan van{"van" + std::to_string(vans.size()), {}};
      double odometer = 10'000;
      for (int m = 0; m < 24; ++m) {
        odometer += km * (1 + 0.1 * normal(random));
        FadePoint p;
        p.month = 2026 * 12 + m;
        p.odometer_km = odometer;
        // 1.5 % a year and 0.05 % per 1,000 km of 150 Ah.
        p.ah = 150 * (1 - 0.015 * m / 12 - 5e-7 * odometer + sd * normal(random));
        van.points.push_back(p);
      }
      vans.push_back(van);
    }
    return vans;
  };
  int year_inside = 0, km_inside = 0;
  constexpr int kRounds = 300;
  for (int round = 0; round < kRounds; ++round) {
    const auto vans = fleet({1'600, 3'200, 4'800, 6'400, 9'600}, 0.004);
    const FleetFade told = split_fleet_fade(vans);
    REQUIRE(told.lost_pct_per_year.figure);
    CHECK(*told.variance_inflation < 10);
    const Figure& year = *told.lost_pct_per_year.figure;
    const Figure& km = *told.lost_pct_per_1000_km.figure;
    year_inside += year.low < 1.53 && year.high > 1.5;
    km_inside += km.low < 0.051 && km.high > 0.05;
  }
  std::printf("fleet fade, seed 71: year %.3f km %.3f\n", double(year_inside) / kRounds,
              double(km_inside) / kRounds);
  CHECK(double(year_inside) / kRounds > 0.92);
  CHECK(double(km_inside) / kRounds > 0.92);

  const FleetFade alike = split_fleet_fade(fleet({3'000, 3'010, 2'990}, 0.004));
  CHECK_FALSE(alike.lost_pct_per_year.figure);
  CHECK(alike.reason.find("run together") != std::string::npos);
  const FleetFade one = split_fleet_fade(fleet({3'000}, 0.004));
  CHECK_FALSE(one.lost_pct_per_year.figure);
  CHECK(one.reason.find("one van never can") != std::string::npos);
  const auto short_vans = [&] {
    auto vans = fleet({1'600, 4'800, 9'600}, 0.004);
    for (auto& van : vans) van.points.resize(11);
    return vans;
  }();
  CHECK(split_fleet_fade(short_vans).n_vans == 0);
}

}  // namespace packmile::testing
