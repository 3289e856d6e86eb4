// The gain of the van's voltage and current, from what a meter in front of the
// charger, or a post's receipt, counted for the same charge.
//
// Input     charges that somebody metered.
// Output    the verdict `gain`: energy into the pack for each kWh that the words
//           make of it.
// Method    metered * efficiency - idle power * hours, over the words' kWh; all
//           charges together by least squares through nothing. The charger's loss
//           and the meter are the same every time: they do not average out, and 1 %
//           is the least that is claimed.
// Refuses   fewer than three charges, or less than 30 kWh; charges that disagree.
#pragma once
#include <span>
#include <vector>

#include "energy/van_account.hpp"
#include "reading/verdict.hpp"

namespace packmile {

struct MeteredCharge {
  UtcTime start, end;
  double words_kwh = 0;    // into the pack by the van's words
  double u_words_kwh = 0;  // 1 sd of its random part
  double meter_kwh = 0;
  double u_meter_kwh = 0;  // 1 sd: the last digit read
  ChargeKind kind = ChargeKind::unknown;
};

// ECU, calibration and times are the caller's. AC and DC are judged together.
[[nodiscard]] Verdict judge_gain(std::span<const MeteredCharge> charges);

}  // namespace packmile
