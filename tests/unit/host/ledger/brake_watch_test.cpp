// Braking of trips: from words to sums, into the ledger and out of it.
#include "ledger/brake_watch.hpp"

#include <doctest/doctest.h>
#include <unistd.h>

#include <filesystem>
#include <string>

#include "ledger/ledger.hpp"

namespace packmile::testing {
namespace {

constexpr std::int64_t kStartMs = 1'770'000'000'000;

// From 50 km/h to 0 at 5 km/h a second, with so much into the pack all the time.
struct Stop {
  Episode episode;
  std::vector<std::int64_t> time_ms;
  std::vector<std::int32_t> power_raw;
  PackRows rows;

  explicit Stop(double regen_kw, std::int64_t power_step_ms = 500) {
    for (int k = 0; k <= 20; ++k) {
      episode.speed.time_ms.push_back(kStartMs + 1'000 * k);
      episode.speed.raw.push_back(k < 5    ? 50U
                                  : k < 15 ? static_cast<std::uint32_t>(70 - 5 * k)
                                           : 0U);
    }
    for (std::int64_t ms = 0; ms <= 20'000; ms += power_step_ms) {
      time_ms.push_back(kStartMs + 100 + ms);
      power_raw.push_back(static_cast<std::int32_t>(-regen_kw * 640e3));
    }
    rows.time_ms = time_ms;
    rows.power_raw = power_raw;
  }

  [[nodiscard]] std::vector<TripBraking> watch(SegmentKind kind = SegmentKind::trip) const {
    const VanFacts facts;
    const EnergyRules rules;
    EpisodePlan plan;
    Segment segment;
    segment.kind = kind;
    segment.span = {kStartMs, kStartMs + 20'000};
    plan.segments.push_back(segment);
    const SegmentInput input{episode, rows, nullptr, facts, rules};
    const std::vector<SessionWork> sessions;
    BrakeWatch brakes;
    brakes.add({input, plan, sessions});
    return brakes.finish();
  }
};

}  // namespace

TEST_CASE("brake watch: one stop from 50 km/h with 10 kW into the pack") {
  const auto trips = Stop{10}.watch();
  REQUIRE(trips.size() == 1);
  const double v = 50 / 3.6;
  CHECK(trips[0].falls.kinetic_j_per_kg == doctest::Approx(v * v / 2));
  // 70 - 5 k is 50 at the fourth second and 0 at the fourteenth.
  CHECK(trips[0].falls.fall_s == doctest::Approx(10));
  CHECK(trips[0].falls.seen_s == doctest::Approx(10));
  CHECK(trips[0].falls.regen_kwh == doctest::Approx(10.0 * 10 / 3600));
  CHECK(trips[0].falls.rolled_m == doctest::Approx(v / 2 * 10));
}

TEST_CASE("brake watch: power across a gap is not made up, and stands are no trips") {
  const auto gaps = Stop{10, 4'000}.watch();
  REQUIRE(gaps.size() == 1);
  CHECK(gaps[0].falls.seen_s == 0);
  CHECK(gaps[0].falls.regen_kwh == 0);
  CHECK(Stop{10}.watch(SegmentKind::stand).empty());
}

TEST_CASE("brake watch: the ledger gives back what it was given, and goes with its van") {
  const auto folder =
      std::filesystem::temp_directory_path() / ("packmile_brakes_" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  {
    auto ledger = Ledger::open(folder / kLedgerFileName);
    REQUIRE(ledger);
    VanRecord van;
    van.key = "Linden";
    van.names = {"Linden", ""};
    van.braking = {{UtcTime{std::chrono::milliseconds{kStartMs}}, {1, 2, 3, 4, 5, 6}}};
    REQUIRE(ledger->replace_van(van));
    const auto vans = ledger->vans();
    REQUIRE(vans);
    const auto braking = ledger->braking(vans->front().id);
    REQUIRE(braking);
    REQUIRE(braking->size() == 1);
    CHECK(braking->front().start == van.braking[0].start);
    CHECK(braking->front().falls.kinetic_j_per_kg == 1);
    CHECK(braking->front().falls.rolled_m == 2);
    CHECK(braking->front().falls.drag_m3_per_s2 == 3);
    CHECK(braking->front().falls.regen_kwh == 4);
    CHECK(braking->front().falls.fall_s == 5);
    CHECK(braking->front().falls.seen_s == 6);
    const auto id = vans->front().id;
    REQUIRE(ledger->remove_van(id));
    CHECK(ledger->braking(id)->empty());
  }
  std::filesystem::remove_all(folder);
}

}  // namespace packmile::testing
