// Does anything independent confirm the controller's scale?
//
// Input     monthly capacities by the controller's scale; the Ah between two
//           voltages; the voltage at rest; rest to rest.
// Output    one verdict with its reason and what would settle it.
// Meaning   a controller that counts with a wrong capacity gives back exactly
//           that capacity: only what asks the cells can contradict it.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "figure.hpp"
#include "pack/rest.hpp"
#include "pack/trend.hpp"
#include "pack/voltage_window.hpp"

namespace packmile {

enum class WitnessVerdict : std::uint8_t {
  agrees_moving,  // both fell (or rose): the controller follows the cells
  agrees_still,   // neither moved: no change is confirmed, the level is not
  contradicts,
  too_little
};
[[nodiscard]] std::string_view word_of(WitnessVerdict verdict);

struct Witness {
  WitnessVerdict verdict = WitnessVerdict::too_little;
  std::string reason;
};

// What would settle the level, for people.
inline constexpr std::string_view kHowToSettle =
    "one slow charge from nearly empty to full, read at a meter, would settle it, or the capacity "
    "test of the vehicle maker; follow the maker's instructions, and leave work on the pack to "
    "licensed people";

// Change of monthly values, per cent: the last three months that have one
// against the first three. nullopt: fewer than 6, or less than half a year.
[[nodiscard]] std::optional<Figure> change_of_months_pct(std::span<const MonthValue> values);

struct WitnessInput {
  std::span<const MonthValue> months;       // y: Ah by the controller's scale
  const WindowSeries* window = nullptr;     // nullptr: no like charges
  const RestDriftOrWhy* drift = nullptr;    // nullptr: no rests
  std::optional<Figure> edges_ah, rest_ah;  // of the same time
};
[[nodiscard]] Witness hear_witness(const WitnessInput& input);

}  // namespace packmile
