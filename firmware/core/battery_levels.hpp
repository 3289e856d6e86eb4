// What the supply at pin 16 says about the van's 12 V battery, by its kind.
//
// Units     millivolts at the plug, with little current drawn.
// Source    common practice, no source.
#pragma once
#include <cstdint>

namespace packmile {

// Values of packmile.Battery.
enum class BatteryKind : std::uint8_t {
  lead = 0,    // flooded, EFB, AGM or gel
  lithium = 1  // lithium iron phosphate, four cells
};

struct BatteryLevels {
  // Below it: never transmit. What is left belongs to the van.
  std::uint16_t too_low_mv;
  // From here on the DC/DC converter feeds the battery.
  std::uint16_t high_mv;
  // A rise of this much to high_mv or more: the van has woken.
  std::uint16_t rise_mv;
};

[[nodiscard]] constexpr BatteryLevels levels_of(BatteryKind kind) {
  switch (kind) {
    case BatteryKind::lead:
      // At rest a quarter to half full; full at 12.7 V.
      return {12'200, 13'200, 500};
    case BatteryKind::lithium:
      // At rest a quarter full; full at 13.4 V, close under what feeds it.
      return {12'900, 13'600, 300};
  }
  return {12'200, 13'200, 500};
}

}  // namespace packmile
