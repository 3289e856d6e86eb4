#include "energy/charge_curve.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

using namespace packmile;

namespace {

double curve_kwh_at(const std::vector<CurvePoint>& curve, std::int64_t after_ms) {
  const auto right = std::ranges::lower_bound(curve, after_ms, {}, &CurvePoint::after_ms);
  if (right == curve.begin()) return right->kwh;
  const auto left = right - 1;
  return left->kwh + (right->kwh - left->kwh) * static_cast<double>(after_ms - left->after_ms) /
                         static_cast<double>(right->after_ms - left->after_ms);
}

}  // namespace

TEST_CASE("charge curve: every moment is within the tolerance, with few corners") {
  const unsigned seed = 90210;
  MESSAGE("seed ", seed);
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> noise{-0.3, 0.3};
  for (const double taper : {0.0, 0.5, 1.0}) {
    std::vector<CurvePoint> truth{{0, 0}};
    ChargeCurve curve;
    curve.add(0, 0);
    constexpr int kSeconds = 4 * 3600;
    for (int s = 1; s <= kSeconds; ++s) {
      const double kw = std::max(0.0, 7 * (1 - taper * s / kSeconds) + noise(random));
      truth.push_back({s * 1000, truth.back().kwh + kw / 3600});
      curve.add(truth.back().after_ms, truth.back().kwh);
    }
    const auto corners = curve.finish();
    REQUIRE(corners.size() >= 2);
    // Even of power that strays by 0.3 kW from second to second.
    CHECK(corners.size() < truth.size() / 20);
    CHECK(corners.front() == truth.front());
    CHECK(corners.back() == truth.back());
    double worst = 0;
    for (const CurvePoint& point : truth)
      worst = std::max(worst, std::abs(curve_kwh_at(corners, point.after_ms) - point.kwh));
    CHECK(worst <= kCurveKwh * (1 + 1e-9));
  }
}

TEST_CASE("charge curve: steady power is one line") {
  ChargeCurve curve;
  for (int s = 0; s <= 3600; ++s) curve.add(s * 1000, 7.0 * s / 3600);
  CHECK(curve.finish().size() == 2);
}

// By hand: 2 kW out to 2 kW in over 2 h: half of the time in, 1 kW on the mean.
TEST_CASE("charge curve: only what goes into the pack counts") {
  const std::vector<std::int64_t> time_ms{0, 7'200'000};
  const std::vector<std::int32_t> power{1'280'000, -1'280'000};
  PackRows rows;
  rows.time_ms = time_ms;
  rows.power_raw = power;
  CHECK(charge_curve(rows, 0, 1).back().kwh == doctest::Approx(1.0));
  const std::vector<std::int32_t> turned{-1'280'000, 1'280'000};
  rows.power_raw = turned;
  CHECK(charge_curve(rows, 0, 1).back().kwh == doctest::Approx(1.0));
}
