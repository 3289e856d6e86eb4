// The clocks of all boots of one card: each by its own readings, and none that
// contradicts the order in which the card was written.
//
// Input     boots in order of sequence.
// Rule      a boot that by its clock began before a boot in front of it had ended
//           has a wrong clock, or the one in front has: a clock without a cell
//           shows this, as it starts at one date again and again. Kept are the
//           clocks of the longest row of boots that agree with the order. Boots
//           side by side on the same numbers, of a copy of a card that was
//           continued twice, have no order.
#pragma once
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "card/boot_clock.hpp"
#include "card/boot_facts.hpp"

namespace packmile {

struct CardClocks {
  std::vector<BootClock> of_boot;
  // Every clock that was read lies before the card's preparation.
  bool before_prepared = false;
};

// prepared_unix_ms: 0: not known.
[[nodiscard]] CardClocks fit_card_clocks(
    std::span<const std::reference_wrapper<const BootFacts>> boots, std::uint64_t prepared_unix_ms);

}  // namespace packmile
