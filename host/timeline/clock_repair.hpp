// When boots were that had no clock of their own: between what, and where they
// are put.
//
// Input     boots of logs, each log in order of sequence, those with a clock
//           placed by it; whose each boot is, and its odometer, where known.
// Method    a boot without a clock began after everything that came before it had
//           ended, and ended before everything behind it began. What came before
//           is told by the sequence on its card, by the odometer among all boots
//           of its van, by the preparation of the card, and by when it was pulled.
//           Bounds go along rows of such boots, each boot as long as its tick
//           says, give or take 100 ppm.
// Conflict  where sequence and odometer contradict each other both are kept: the
//           interval holds what either says, and the boot is marked
//           (order_conflict). One against one, either may be wrong; one against
//           many, the one is.
// Place     in the middle of its interval, or at the end that is known; beside
//           what other boots of the van cover, where there is room.
// Bounded   n log n for each round; rounds are limited, and an odometer that does
//           not come to rest in them is left out.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "timeline/boot_order.hpp"
#include "timeline/odometer_span.hpp"

namespace packmile {

// What is known of a boot beside its log.
struct BootOwner {
  std::string van;  // any text that tells vans apart
  std::optional<OdometerSpan> odometer;
};

// Sets the clock_ and order_ fields of boots without a sure clock. `owners`: of
// each boot of each log; empty: all of one van, no odometer.
void repair_clocks(std::span<LogBoots> logs, const std::vector<std::vector<BootOwner>>& owners);

// Between what the time of a tick of the boot is, unix ms; absent: nothing bounds
// it on that side. Holds tick + clock_offset_ms in any case.
struct TickInterval {
  std::optional<std::int64_t> low_ms, high_ms;
};
[[nodiscard]] TickInterval interval_at(const Boot& boot, Tick tick_ms);

}  // namespace packmile
