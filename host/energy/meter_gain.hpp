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
  // 1 sd of what the current's offset may have added to all charges alike.
  double u_offset_kwh = 0;
  double meter_kwh = 0;
  double u_meter_kwh = 0;  // 1 sd: the last digit read
  ChargeKind kind = ChargeKind::unknown;
};

// ECU, calibration and times are the caller's. AC and DC are judged together.
[[nodiscard]] Verdict judge_gain(std::span<const MeteredCharge> charges);

// What figures take out for a gain that is agreed: what the charges say and what
// sensors usually are (EnergyRules), each by its own uncertainty, because a charger's
// loss is often known less well than a sensor's gain. Where the two cannot both be
// right the charges alone, as a gain of the current.
[[nodiscard]] SensorGain sensor_gain_of(const Figure& gain, const EnergyRules& rules = {});
// Puts the gains that are agreed into the readings that they are of; false: none is.
[[nodiscard]] bool take_gains(std::span<const Verdict> verdicts, std::vector<PackReading>& readings,
                              const EnergyRules& rules = {});

}  // namespace packmile
