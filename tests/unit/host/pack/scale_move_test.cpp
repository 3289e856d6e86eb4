// A controller that takes up another capacity in mid-life, and those that do not.
#include <doctest/doctest.h>

#include "pack/scale_move.hpp"

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "host/pack/charge_scene.hpp"
#include "pack/capacity.hpp"

namespace packmile {

using namespace testing;

namespace {

constexpr double kHeldAh = 150;
constexpr std::int64_t kMoveDayMs = 86'400'000;

// A charge a day of a pack of 150 Ah; from `moves_at` on the controller counts with
// `believed_ah`.
std::vector<ChargeCapacity> days_of(int days, int moves_at, double believed_ah, unsigned seed) {
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> uniform;
  std::vector<ChargeCapacity> charges;
  for (int day = 0; day < days; ++day) {
    ChargeScene scene;
    scene.start_ms += day * kMoveDayMs;
    scene.capacity_ah = kHeldAh;
    scene.believed_ah = day < moves_at ? kHeldAh : believed_ah;
    scene.soc_from = 0.3 + 0.2 * uniform(random);
    scene.soc_to = 0.85 + 0.08 * uniform(random);
    scene.row_s = 30;
    scene.soc_poll_s = 30;
    charges.push_back(measure_charge(make_charge(scene, random)));
  }
  return charges;
}

std::vector<ScaleMove> moves_of(const std::vector<ChargeCapacity>& charges) {
  return find_scale_moves(charges, {}, CapacityRules{}.offset_u_a);
}

CapacityFindings findings_of(const std::vector<ChargeCapacity>& charges) {
  CapacityInput input;
  input.charges = charges;
  return combine_capacity(input);
}

}  // namespace

TEST_CASE("scale move: what the controller took up anew widens what its charges tell") {
  const auto charges = days_of(7, 4, 0.95 * kHeldAh, 11);
  const auto moves = moves_of(charges);
  REQUIRE_FALSE(moves.empty());
  const ScaleMove* most = largest_move(moves, charges[0].segment, charges[0].start);
  REQUIRE(most);
  CHECK(most->before == charges[3].start);
  CHECK(most->after == charges[4].start);
  CHECK(most->share == doctest::Approx(-0.05).epsilon(0.1));
  // Half of the time the one is right, half of the time the other: 5 % over the root of 2.
  CHECK(most->scale_u(0) == doctest::Approx(0.0354).epsilon(0.1));
  int told = 0;
  for (const CapacityRow& row : findings_of(charges).rows) {
    if (row.method != CapacityMethod::controller_edges || !row.ah.figure) continue;
    CHECK(row.ah.figure->low < kHeldAh);
    CHECK(row.ah.figure->high > kHeldAh);
    told += row.reason.find(
                "between the charges of 2026-01-08 and 2026-01-09 the controller took "
                "up another scale, -5.") != std::string::npos ||
            row.reason.find("another scale, -4.") != std::string::npos;
  }
  CHECK(told == 9);  // seven charges, the month, the latest
}

TEST_CASE("scale move: what is told from rest to rest is as unsure") {
  const auto rests_told = [](int moves_at) {
    const auto charges = days_of(7, moves_at, 0.95 * kHeldAh, 11);
    CapacityInput input;
    input.charges = charges;
    RestObservations rests;
    for (int day = 0; day < 6; ++day) {
      RestToRest pair;
      pair.start = charges[static_cast<std::size_t>(day)].start;
      pair.end = charges[static_cast<std::size_t>(day) + 1].start;
      pair.segment = charges[0].segment;
      pair.soc_low_pct = 30;
      pair.soc_high_pct = 80;
      pair.point = {.x = 0.5, .y = 0.5 * kHeldAh, .u_x = 0.014, .u_y = 0.1, .t = 0};
      rests.pairs.push_back(pair);
    }
    input.rests = &rests;
    for (const CapacityRow& row : combine_capacity(input).rows)
      if (row.method == CapacityMethod::rest_to_rest) return row;
    FAIL("no row of the rests");
    return CapacityRow{};
  };
  const CapacityRow kept = rests_told(7);
  const CapacityRow moved = rests_told(4);
  CHECK(kept.reason.find("another scale") == std::string::npos);
  CHECK(moved.reason.find("another scale") != std::string::npos);
  const auto half_width = [](const CapacityRow& row) {
    return (row.ah.figure->high - row.ah.figure->low) / 2 / row.ah.figure->value;
  };
  // 3.5 % beside what was there, 1 sd.
  CHECK(half_width(moved) ==
        doctest::Approx(std::hypot(half_width(kept), 1.96 * 0.0354)).epsilon(0.1));
}

TEST_CASE("scale move: none where the controller keeps its scale, or one charge is wild") {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    CAPTURE(seed);
    CHECK(moves_of(days_of(8, 8, 0, seed)).empty());
    // 1 % is what a controller that learns may be wrong by.
    CHECK(moves_of(days_of(8, 4, 0.99 * kHeldAh, seed)).empty());
  }
  auto charges = days_of(8, 8, 0, 21);
  charges[4].point.y *= 1.1;
  CHECK(moves_of(charges).empty());
  // A fast charge lacks less of what the sensor's offset hides; that is no move.
  charges = days_of(8, 8, 0, 22);
  for (std::size_t i = 5; i < 8; ++i) {
    charges[i].point.t /= 6;
    charges[i].point.y *= 1.03;
  }
  CHECK(moves_of(charges).empty());
}

TEST_CASE("scale move: a quarter later the charges are told as before") {
  auto charges = days_of(7, 4, 0.95 * kHeldAh, 11);
  const auto moves = moves_of(charges);
  const UtcTime at = charges[4].start;
  CHECK(largest_move(moves, charges[0].segment, at + std::chrono::days{90}));
  CHECK_FALSE(largest_move(moves, charges[0].segment, at + std::chrono::days{95}));
  CHECK_FALSE(largest_move(moves, charges[0].segment + 1, at));
}

}  // namespace packmile
