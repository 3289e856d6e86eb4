#include "reading/soc_step_votes.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "host/reading/replay.hpp"

namespace packmile {

using testing::add_sample;
using testing::close_episode;

namespace {

// A state of charge that falls from `high_pct` to `low_pct` and is counted in
// steps of `inner_pct` inside.
Episode falling(double high_pct, double low_pct, double inner_pct, bool cut,
                double answer_pct = kSocPctPerCode) {
  Episode episode;
  episode.soc_step_pct = answer_pct;
  episode.soc.ecu = 0x7E8;
  episode.soc.calibration_id = "CAL";
  std::int64_t t_ms = 0;
  for (double pct = high_pct; pct > low_pct; pct -= 0.05, t_ms += 5000) {
    const double inner = std::floor(pct / inner_pct + 1e-9) * inner_pct;
    const double code = inner / answer_pct;
    add_sample(episode.soc, t_ms,
               static_cast<std::uint32_t>(cut ? std::floor(code + 1e-9) : std::round(code)));
  }
  close_episode(episode);
  return episode;
}

Verdict told(const std::vector<Episode>& episodes) {
  SocStepVotes votes;
  for (const Episode& episode : episodes) votes.observe(episode);
  const auto verdicts = votes.decide();
  REQUIRE(verdicts.size() == 1);
  CAPTURE(verdicts[0].evidence);
  CHECK(verdicts[0].ecu == 0x7E8);
  CHECK(verdicts[0].calibration_id == "CAL");
  return verdicts[0];
}

double step_of(const Verdict& verdict) {
  CAPTURE(verdict.evidence);
  REQUIRE(verdict.answer == VerdictAnswer::agreed);
  return verdict.number->value;
}

}  // namespace

// No source: by the definition of a step.
TEST_CASE("soc step: inner steps are found, cut or rounded") {
  for (const bool cut : {true, false}) {
    for (const double step_pct : {5.0, 2.5, 2.0, 1.0, 0.5}) {
      CAPTURE(step_pct);
      CAPTURE(cut);
      CHECK(step_of(told({falling(97, 3, step_pct, cut)})) == step_pct);
    }
  }
}

TEST_CASE("soc step: every code seen is the code's own step") {
  CHECK(step_of(told({falling(90, 60, 0.01, true)})) == doctest::Approx(100.0 / 255));
  // An owner's signal in half per cent that counts in whole ones, and in halves.
  CHECK(step_of(told({falling(90, 40, 1, true, 0.5)})) == 1.0);
  CHECK(step_of(told({falling(90, 40, 0.5, true, 0.5)})) == 0.5);
}

TEST_CASE("soc step: a few codes would fit anything") {
  CHECK(told({falling(52, 49, 1, true)}).answer == VerdictAnswer::too_little);
  CHECK(told({falling(52, 51.5, 0.01, true)}).answer == VerdictAnswer::too_little);
  // Two days of them tell, across episodes.
  CHECK(step_of(told({falling(60, 50, 1, true), falling(50, 40, 1, true)})) == 1.0);
}

TEST_CASE("soc step: full and empty fit every step, and any codes are survived") {
  Episode episode;
  episode.soc.ecu = 0x7E8;
  episode.soc.calibration_id = "CAL";
  for (int i = 0; i < 50; ++i) add_sample(episode.soc, i * 1000, i % 2 ? 255 : 0);
  add_sample(episode.soc, 60'000, 4'000'000'000u);
  CHECK(told({episode}).answer == VerdictAnswer::too_little);
  SocStepVotes none;
  none.observe({});
  CHECK(none.decide().empty());
}

}  // namespace packmile
