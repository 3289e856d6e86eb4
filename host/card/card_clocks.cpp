#include "card/card_clocks.hpp"

#include <algorithm>

namespace packmile {
namespace {

// A sound clock may be set back by so much between two boots: 20 ppm are 52 s in
// a month.
constexpr std::int64_t kSetBackMs = 60'000;

using Boots = std::span<const std::reference_wrapper<const BootFacts>>;

// Patience sorting, so the time is n log n.
void drop_clocks_against_order(Boots boots, std::vector<BootClock>& clocks) {
  for (std::size_t i = 1; i < boots.size(); ++i)
    if (boots[i].get().first_sequence <= boots[i - 1].get().last_sequence) return;
  constexpr std::size_t kNobody = ~std::size_t{0};
  std::vector<std::size_t> best_last;  // [k]: of the rows of k + 1 boots, who ends earliest
  std::vector<std::int64_t> best_end_ms;
  std::vector<std::size_t> before(boots.size(), kNobody);
  for (std::size_t i = 0; i < boots.size(); ++i) {
    if (!clocks[i].known()) continue;
    const std::int64_t begin_ms = clocks[i].offset_ms + kSetBackMs;
    const std::int64_t end_ms =
        clocks[i].offset_ms + static_cast<std::int64_t>(boots[i].get().last_tick.value_or(0));
    const std::int64_t until_ms = std::max(begin_ms, end_ms);
    const auto place = std::upper_bound(best_end_ms.begin(), best_end_ms.end(), begin_ms);
    const auto k = static_cast<std::size_t>(place - best_end_ms.begin());
    if (k > 0) before[i] = best_last[k - 1];
    if (place == best_end_ms.end()) {
      best_end_ms.push_back(until_ms);
      best_last.push_back(i);
    } else if (until_ms < *place) {
      *place = until_ms;
      best_last[k] = i;
    }
  }
  std::vector<bool> kept(boots.size(), false);
  for (std::size_t i = best_last.empty() ? kNobody : best_last.back(); i != kNobody; i = before[i])
    kept[i] = true;
  for (std::size_t i = 0; i < boots.size(); ++i)
    if (!kept[i]) clocks[i] = BootClock{};
}

}  // namespace

CardClocks fit_card_clocks(Boots boots, std::uint64_t prepared_unix_ms) {
  CardClocks out;
  ClockFloor floor(prepared_unix_ms);
  for (const BootFacts& boot : boots) floor.see(boot.clock_readings);
  out.before_prepared = floor.before_prepared();
  for (const BootFacts& boot : boots)
    out.of_boot.push_back(
        fit_boot_clock(boot.clock_readings, floor.not_before_unix_ms(), prepared_unix_ms));
  drop_clocks_against_order(boots, out.of_boot);
  return out;
}

}  // namespace packmile
