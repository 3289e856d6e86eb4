// What a van's energy cost in a period: charges that were heard, receipts of charges
// that were not, and what the depot's counter has beside both.
//
// Method    a charge counts where it starts, a receipt on its day. A receipt that may
//           be of several charges is of one of them, which it then pays: no two
//           receipts pay for the same. What the counter has counted between two notes
//           is spread over the days between them, over those on which the van was not
//           heard where there are any, so that parts of a period add up to it.
#pragma once
#include <string>
#include <vector>

#include "money/cost.hpp"

namespace packmile {

struct CostSpan {
  UtcTime from, to;

  [[nodiscard]] bool holds(UtcTime at) const { return at >= from && at < to; }
  [[nodiscard]] bool surely(UtcTime at, const TimeDoubt& doubt) const {
    const auto low = doubt.earliest(at), high = doubt.latest(at);
    return low && high && holds(*low) && holds(*high);
  }
  [[nodiscard]] bool maybe(UtcTime at, const TimeDoubt& doubt) const {
    const auto low = doubt.earliest(at), high = doubt.latest(at);
    return (!low || *low < to) && (!high || *high >= from);
  }
};

struct EnergyCost {
  MaybeFigure energy_cost, grid_kwh;
  MaybeFigure charger_loss_cost, standing_cost;
  // So much is missing that a cost or an energy by the mile would say too little;
  // empty: not so.
  std::string too_little;
  std::vector<LeftOut> left_out;
  std::size_t unsure_sessions = 0;  // may or may not belong to the period
};

[[nodiscard]] EnergyCost energy_cost_of(const CostInput& input, const CostSpan& span);

// Whose the depot's counter is, for this van.
[[nodiscard]] CounterOf counter_of(const CostInput& input);

}  // namespace packmile
