// What evidence, account and the watch over the pack cost for a van-month of samples already in
// memory: 270 h of driving at 3 Hz and 240 h of charging (a quarter at 1 Hz, the rest every 5
// s), 3.3 million pack rows in all. Thread CPU time, best of five.
#include <time.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <vector>

#include "energy/session.hpp"
#include "energy/van_account.hpp"
#include "pack/assessment.hpp"
#include "pack/pack_watch.hpp"
#include "reading/pack_reading.hpp"

namespace {

using packmile::Episode;

double cpu_s() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + static_cast<double>(now.tv_nsec) * 1e-9;
}

class Month {
 public:
  std::vector<Episode> episodes;

  void drive(int seconds) {
    for (std::int64_t ms = 0; ms < seconds * 1000LL; ms += 333) {
      const double t = static_cast<double>(ms) / 1e3;
      const double kmh = std::max(0.0, 40 + 45 * std::sin(t / 17) + 10 * std::sin(t / 5));
      const double amps = 30 + 60 * std::cos(t / 17) + noise() * 6;
      row(ms, 333, 370 - 0.09 * amps, amps);
      if (ms % 2 == 0) add(episode_.speed, ms, static_cast<std::uint32_t>(kmh));
      km_ += kmh / 3600 / 3;
      code_ -= amps / 3600 / 3 / 0.6;
      if (ms % 5000 < 333) slow(ms);
    }
    done(seconds);
  }
  void charge(int seconds, std::int64_t period_ms) {
    for (std::int64_t ms = 0; ms < seconds * 1000LL; ms += period_ms) {
      row(ms, static_cast<std::uint32_t>(period_ms), 380, -19 + noise() * 0.3);
      if (ms % 10'000 == 0) add(episode_.speed, ms, 0);
      code_ += 19.0 * static_cast<double>(period_ms) / 3.6e6 / 0.6;
      if (ms % 10'000 == 0) slow(ms);
    }
    done(seconds);
  }

 private:
  double noise() {
    state_ = state_ * 6364136223846793005u + 1442695040888963407u;
    return static_cast<double>(state_ >> 40) / (1 << 24) - 0.5;
  }
  void row(std::int64_t ms, std::uint32_t period_ms, double v, double a) {
    episode_.pack.time_ms.push_back(now_ms_ + ms);
    episode_.pack.v_raw.push_back(static_cast<std::uint16_t>(std::lround(v * 64)));
    episode_.pack.a_raw.push_back(static_cast<std::uint16_t>(std::lround(a * 10)));
    episode_.pack.period_ms.push_back(period_ms);
  }
  void add(packmile::SignalSeries& series, std::int64_t ms, std::uint32_t raw) const {
    series.time_ms.push_back(now_ms_ + ms);
    series.raw.push_back(raw);
  }
  void slow(std::int64_t ms) {
    code_ = std::clamp(code_, 20.0, 250.0);
    add(episode_.soc, ms, static_cast<std::uint32_t>(code_));
    add(episode_.odometer, ms, static_cast<std::uint32_t>(km_ * 10));
  }
  void done(int seconds) {
    episode_.start = packmile::UtcTime{std::chrono::milliseconds{episode_.pack.time_ms.front()}};
    episode_.end = packmile::UtcTime{std::chrono::milliseconds{episode_.pack.time_ms.back()}};
    episodes.push_back(std::move(episode_));
    episode_ = {};
    now_ms_ += (seconds + 3600) * 1000LL;
  }

  Episode episode_;
  std::int64_t now_ms_ = 1'767'592'800'000;
  double km_ = 40'000;
  double code_ = 200;
  std::uint64_t state_ = 1;
};

}  // namespace

int main() {
  Month month;
  for (int day = 0; day < 30; ++day) {
    for (int round = 0; round < 9; ++round) month.drive(3600);
    month.charge(6 * 3600, 5000);
    month.charge(2 * 3600, 1000);
  }
  std::size_t rows = 0;
  for (const Episode& episode : month.episodes) rows += episode.pack.time_ms.size();
  double evidence_s = 1e9;
  double account_s = 1e9;
  double watched_s = 1e9;
  std::size_t charges = 0;
  std::size_t trips = 0;
  std::size_t sessions = 0;
  for (int round = 0; round < 5; ++round) {
    const double start = cpu_s();
    packmile::PackEvidence evidence;
    for (const Episode& episode : month.episodes) evidence.observe(episode);
    const auto readings = evidence.decide();
    const double between = cpu_s();
    packmile::VanAccount account{{}, readings};
    for (const Episode& episode : month.episodes) account.add(episode);
    const auto figures = account.finish();
    const double end = cpu_s();
    evidence_s = std::min(evidence_s, between - start);
    account_s = std::min(account_s, end - between);
    trips = figures.trips.size();
    sessions = figures.sessions.size();
    const packmile::VanFacts facts{57, 160, 7.4};
    const double again = cpu_s();
    packmile::VanAccount watched{facts, readings};
    packmile::PackWatch watch{facts, readings};
    for (const Episode& episode : month.episodes)
      watched.add(episode, [&](const packmile::PlannedEpisode& planned) { watch.add(planned); });
    const auto both = watched.finish();
    const auto pack = packmile::assess_pack(watch.finish(), {});
    watched_s = std::min(watched_s, cpu_s() - again);
    charges = pack.capacity.rows.size();
    if (round == 0) std::printf("reading: %s\n", readings.at(0).evidence.c_str());
  }
  std::printf("%zu pack rows, %zu trips, %zu sessions\n", rows, trips, sessions);
  std::printf("evidence %.4f s (%.1f ns a row), goal 0.04 s\n", evidence_s,
              evidence_s * 1e9 / static_cast<double>(rows));
  std::printf("account  %.4f s (%.1f ns a row), goal 0.08 s\n", account_s,
              account_s * 1e9 / static_cast<double>(rows));
  std::printf("account and pack %.4f s (%.1f ns a row), %zu rows of capacity: %.2f times\n",
              watched_s, watched_s * 1e9 / static_cast<double>(rows), charges,
              watched_s / account_s);
}
