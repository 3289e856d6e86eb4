#include "reading/pack_charge.hpp"

#include <algorithm>

namespace packmile {
namespace {

// For a vote, not for energy: longer pauses carry no charge there.
constexpr std::int64_t kBridgeMs = 15'000;
// No poll period is shorter than 200 ms: what takes no longer is never a gap.
constexpr std::int64_t kNeverGapMs = 500;

std::int64_t longest_ms(std::uint32_t first_ms, std::uint32_t second_ms) {
  const auto period = [](std::uint32_t ms) { return ms == 0 ? kBackToBackMs : ms; };
  return static_cast<std::int64_t>(kGapPeriods * std::max(period(first_ms), period(second_ms)));
}

}  // namespace

void PackCharge::fill(const PackSeries& pack, CurrentCoding coding) {
  const std::size_t n = pack.time_ms.size();
  sum_.resize(n);
  positive_ = negative_ = gap_ms_ = gap_charge_ = 0;
  if (n == 0) return;
  const std::uint16_t flip = coding == CurrentCoding::offset_binary ? 0x8000 : 0;
  std::int64_t sum = 0;
  std::int64_t positive = 0;
  std::int64_t unbridged = 0;
  std::int64_t before = static_cast<std::int16_t>(pack.a_raw[0] ^ flip);
  sum_[0] = 0;
  for (std::size_t i = 1; i < n; ++i) {
    const std::int64_t now = static_cast<std::int16_t>(pack.a_raw[i] ^ flip);
    const std::int64_t step_ms = pack.time_ms[i] - pack.time_ms[i - 1];
    std::int64_t step = (before + now) * step_ms;
    positive += std::max<std::int64_t>(step, 0);
    if (step_ms > kNeverGapMs) {
      if (step_ms > longest_ms(pack.period_ms[i - 1], pack.period_ms[i])) {
        gap_ms_ += step_ms;
        gap_charge_ += step < 0 ? -step : step;
      }
      if (step_ms > kBridgeMs) {
        unbridged += step;
        step = 0;
      }
    }
    sum += step;
    sum_[i] = sum;
    before = now;
  }
  positive_ = positive;
  negative_ = positive - sum - unbridged;
}

}  // namespace packmile
