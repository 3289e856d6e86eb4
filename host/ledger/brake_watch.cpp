#include "ledger/brake_watch.hpp"

#include <algorithm>
#include <utility>

namespace packmile {
namespace {

constexpr double kMsPerSecond = 1'000;
// Rows further apart are no line between them.
constexpr std::int64_t kLongestPowerStepMs = 2'500;

// kW at `time_ms`; row: the first one at or after it, which moves on with time.
std::optional<double> power_at(const PackRows& rows, std::int64_t time_ms, std::size_t& row) {
  while (row < rows.size() && rows.time_ms[row] < time_ms) ++row;
  if (row == rows.size()) return std::nullopt;
  if (rows.time_ms[row] == time_ms) return rows.power_kw(row);
  if (row == 0) return std::nullopt;
  const std::int64_t step = rows.time_ms[row] - rows.time_ms[row - 1];
  if (step > kLongestPowerStepMs) return std::nullopt;
  const double share =
      static_cast<double>(time_ms - rows.time_ms[row - 1]) / static_cast<double>(step);
  return rows.power_kw(row - 1) + share * (rows.power_kw(row) - rows.power_kw(row - 1));
}

}  // namespace

void BrakeWatch::add(const PlannedEpisode& planned) {
  const SignalSeries& speed = planned.input.episode.speed;
  const PackRows& rows = planned.input.rows;
  if (rows.size() == 0) return;
  for (const Segment& segment : planned.plan.segments) {
    if (segment.kind != SegmentKind::trip) continue;
    const auto first = std::ranges::lower_bound(speed.time_ms, segment.span.from_ms);
    samples_.clear();
    std::size_t row = 0;
    for (auto at = first; at != speed.time_ms.end() && *at <= segment.span.to_ms; ++at) {
      const auto k = static_cast<std::size_t>(at - speed.time_ms.begin());
      samples_.push_back({static_cast<double>(*at - segment.span.from_ms) / kMsPerSecond,
                          static_cast<double>(speed.raw[k]), power_at(rows, *at, row)});
    }
    const FallSums falls = sum_falls(samples_);
    if (falls.fall_s > 0)
      trips_.push_back({UtcTime{std::chrono::milliseconds{segment.span.from_ms}}, falls});
  }
}

std::vector<TripBraking> BrakeWatch::finish() {
  std::ranges::stable_sort(trips_, {}, &TripBraking::start);
  return std::exchange(trips_, {});
}

}  // namespace packmile
