#include "ledger/van_trace.hpp"

#include <doctest/doctest.h>

#include "reading/pack_reading.hpp"

using namespace packmile;

namespace {

UtcTime at_ms(std::int64_t ms) { return UtcTime{std::chrono::milliseconds{ms}}; }

Episode soc_episode(std::int64_t start_ms, const std::vector<std::uint32_t>& codes,
                    std::int64_t step_ms = 60'000) {
  Episode episode;
  std::int64_t t = start_ms;
  for (const std::uint32_t code : codes) {
    episode.soc.time_ms.push_back(t);
    episode.soc.raw.push_back(code);
    t += step_ms;
  }
  episode.start = at_ms(start_ms);
  episode.end = at_ms(t - step_ms);
  return episode;
}

std::vector<int> turn_codes(const VanTrace& trace) {
  std::vector<int> out;
  for (const SocTurn& turn : trace.turns())
    out.push_back(static_cast<int>(turn.soc_pct / kSocPctPerCode + 0.5));
  return out;
}

double band_hours(const VanTrace& trace, SocBandKind kind) {
  double ms = 0;
  for (const SocBand& band : trace.bands())
    if (band.kind == kind) ms += static_cast<double>((band.end - band.start).count());
  return ms / 3'600'000;
}

}  // namespace

TEST_CASE("van trace: turning points with a hysteresis of two codes") {
  VanTrace trace;
  // 200 down to 100 with a chatter of one code, up to 150, down to 140.
  trace.observe(soc_episode(
      0, {200, 180, 181, 180, 140, 139, 140, 100, 101, 100, 120, 150, 149, 150, 145, 140}));
  trace.finish();
  CHECK(turn_codes(trace) == std::vector<int>{200, 100, 150, 140});
}

TEST_CASE("van trace: turning points go on across episodes") {
  VanTrace trace;
  trace.observe(soc_episode(0, {200, 150, 100}));
  trace.observe(soc_episode(10'000'000, {98, 120, 200}));
  trace.finish();
  CHECK(turn_codes(trace) == std::vector<int>{200, 98, 200});
}

TEST_CASE("van trace: a SoC that never moves has one place and no swing") {
  VanTrace trace;
  trace.observe(soc_episode(0, {100, 100, 101, 100, 100}));
  trace.finish();
  CHECK(turn_codes(trace).size() <= 2);
  CHECK(VanTrace{}.turns().empty());
}

// 80 % is code 204 exactly (204 / 255), 20 % code 51.
TEST_CASE("van trace: awake hours near full and near empty, the silence between is none") {
  VanTrace trace;
  trace.observe(soc_episode(0, {204, 204, 204, 203, 203}, 1'800'000));   // 1.5 h at 80 %
  trace.observe(soc_episode(100'000'000, {51, 51, 52, 52}, 1'800'000));  // 1 h at 20 %
  trace.finish();
  CHECK(band_hours(trace, SocBandKind::high) == doctest::Approx(1.5));
  CHECK(band_hours(trace, SocBandKind::high_at_least) == doctest::Approx(0));
  CHECK(band_hours(trace, SocBandKind::high_at_most) == doctest::Approx(2.0));
  CHECK(band_hours(trace, SocBandKind::low) == doctest::Approx(1.0));
  CHECK(band_hours(trace, SocBandKind::low_at_most) == doctest::Approx(1.5));
}

TEST_CASE("van trace: the odometer keeps the ends of each episode and few between") {
  Episode episode;
  for (int k = 0; k <= 3600; ++k) {
    episode.odometer.time_ms.push_back(k * 1000);
    episode.odometer.raw.push_back(400'000 + static_cast<std::uint32_t>(k));
  }
  episode.start = at_ms(0);
  episode.end = at_ms(3'600'000);
  VanTrace trace;
  trace.observe(episode);
  trace.finish();
  REQUIRE(trace.odometer().size() >= 2);
  CHECK(trace.odometer().size() <= 6);
  CHECK(trace.odometer().front().odometer_km == doctest::Approx(40'000.0));
  CHECK(trace.odometer().back().odometer_km == doctest::Approx(40'360.0));
}
