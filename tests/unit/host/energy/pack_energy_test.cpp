#include "energy/pack_energy.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <vector>

#include "host/reading/replay.hpp"

namespace packmile {

using testing::add_pack_row;
using testing::agreed_reading;

namespace {

// Half an hour of town: powers of a few seconds each, ramps between them; the voltage
// of `late` rows before.
bool lags(std::size_t late, std::uint32_t period_ms, double step_v = 0) {
  std::mt19937 random{20260107};
  std::uniform_real_distribution<double> power_a{-60, 140}, length_s{2, 9};
  std::normal_distribution<double> noise{0, 0.4};
  std::vector<double> amps;
  double target = 0, left_s = 0, now = 0;
  for (int i = 0; i < 1800 * 1000 / static_cast<int>(period_ms); ++i) {
    const double dt = period_ms / 1000.0;
    if (left_s <= 0) {
      target = power_a(random);
      left_s = length_s(random);
    }
    left_s -= dt;
    now += (target - now) * std::min(1.0, dt / 0.8);
    amps.push_back(now + noise(random));
  }
  Episode episode;
  for (std::size_t i = 0; i < amps.size(); ++i) {
    double v = 370 - 0.09 * amps[i >= late ? i - late : 0];
    if (step_v > 0) v = std::round(v / step_v) * step_v;
    add_pack_row(episode, static_cast<std::int64_t>(i) * period_ms, v, amps[i], period_ms);
  }
  PackDecoder decoder;
  const PackReading reading = agreed_reading();
  const PackRows rows = decoder.decode(episode.pack, &reading);
  return look_at_words(rows, 0, rows.size() - 1).lags;
}

}  // namespace

TEST_CASE(
    "words: a voltage that comes rows after its current is seen, one of the same moment not") {
  for (const std::uint32_t period_ms : {200u, 500u, 1000u}) {
    CAPTURE(period_ms);
    CHECK_FALSE(lags(0, period_ms));
    CHECK_FALSE(lags(0, period_ms, 0.5));
    CHECK(lags(1, period_ms));
    CHECK(lags(3, period_ms));
    CHECK(lags(3, period_ms, 0.5));
  }
}

}  // namespace packmile
