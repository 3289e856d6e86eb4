#include "energy/segments.hpp"

#include <doctest/doctest.h>

#include "host/energy/van_scene.hpp"

namespace packmile {

using namespace testing;

namespace {

std::vector<Segment> sessions_of(const Episode& episode) {
  PackDecoder decoder;
  const PackReading reading = agreed_reading();
  const PackRows rows = decoder.decode(episode.pack, &reading);
  std::vector<Segment> sessions;
  for (const Segment& segment : plan_segments(episode, rows, {}).segments) {
    if (segment.kind == SegmentKind::session) sessions.push_back(segment);
  }
  return sessions;
}

double from_s(const Segment& segment) {
  return static_cast<double>(segment.span.from_ms - kReplayStartMs) / 1e3;
}
double to_s(const Segment& segment) {
  return static_cast<double>(segment.span.to_ms - kReplayStartMs) / 1e3;
}

}  // namespace

TEST_CASE("segments: current on both sides of a silence is no charge across it") {
  // A few seconds of charging, ten minutes of nothing, then a descent.
  Scene scene;
  scene.stretch(8, 0, -9).silence(600).stretch(120, 50, -10).stretch(300, 50, 12);
  CHECK(sessions_of(scene.take()).empty());
}

TEST_CASE("segments: a charge that is silent for ten minutes is one session") {
  Scene scene;
  scene.stretch(1200, 0, -7).silence(600).stretch(1200, 0, -7);
  const auto sessions = sessions_of(scene.take());
  REQUIRE(sessions.size() == 1);
  CHECK(from_s(sessions[0]) == 0);
  CHECK(to_s(sessions[0]) == 3000);
}

TEST_CASE("segments: weak current after a pause belongs while the state of charging holds") {
  // 100 s of pause leave the five-minute mean far below -0.3 kW; what follows
  // is too weak to begin a session of its own.
  Scene near;
  near.stretch(1200, 0, -7).stretch(100, 0, 0.1).stretch(600, 0, -0.5).stretch(900, 0, 0.2);
  const auto one = sessions_of(near.take());
  REQUIRE(one.size() == 1);
  CHECK(to_s(one[0]) == doctest::Approx(1900).scale(0).epsilon(0.001));
  // After ten minutes the state is left.
  Scene far;
  far.stretch(1200, 0, -7).stretch(600, 0, 0.1).stretch(600, 0, -0.5).stretch(900, 0, 0.2);
  const auto other = sessions_of(far.take());
  REQUIRE(other.size() == 1);
  CHECK(to_s(other[0]) == doctest::Approx(1200).scale(0).epsilon(0.001));
}

TEST_CASE("segments: standing energy after a charge is not drawn into it") {
  Scene scene;
  scene.stretch(300, 0, 0.3).stretch(1800, 0, -7).stretch(1800, 0, 0.3);
  const auto sessions = sessions_of(scene.take());
  REQUIRE(sessions.size() == 1);
  CHECK(from_s(sessions[0]) == doctest::Approx(300).scale(0).epsilon(0.005));
  CHECK(to_s(sessions[0]) == doctest::Approx(2100).scale(0).epsilon(0.001));
}

TEST_CASE("segments: a step belongs to one segment alone, however short that is") {
  for (int shift_s = 1; shift_s <= 6; ++shift_s) {
    Scene scene;
    scene.stretch(300 + shift_s, 0, 0.4).stretch(600, 50, 12).stretch(300, 0, 0.4);
    const Episode episode = scene.take();
    PackDecoder decoder;
    const PackReading reading = agreed_reading();
    const PackRows rows = decoder.decode(episode.pack, &reading);
    std::size_t steps = 0;
    for (const Segment& segment : plan_segments(episode, rows, {}).segments) {
      if (segment.has_rows) steps += segment.row_to - segment.row_from;
    }
    CAPTURE(shift_s);
    CHECK(steps == rows.size() - 1);
  }
}

}  // namespace packmile
