// Does anything independent confirm the controller's scale?
//
// Input     monthly capacities by the controller's scale; the Ah between two
//           voltages; the voltage at rest; rest to rest.
// Output    one verdict with its reason and what would settle it.
// Meaning   a controller that counts with a wrong capacity gives back exactly
//           that capacity: only what asks the cells can contradict it. Rests ask
//           them where the controller puts its count right by the voltage at rest,
//           which shows as a state of charge that rises while the van sleeps and
//           nothing can have charged it.
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
  agrees_moving,  // both fell (or rose): the change is confirmed, the level is not
  agrees_still,   // neither moved: no change is confirmed, the level is not
  contradicts,
  too_little
};
[[nodiscard]] std::string_view word_of(WitnessVerdict verdict);

// Per cent.
struct ChangeRange {
  double low = 0;
  double high = 0;
};

struct Witness {
  WitnessVerdict verdict = WitnessVerdict::too_little;
  std::string reason;
  // What the capacity of the cells may have changed by since the first months;
  // absent: not told. Wider than what the controller says of itself.
  std::optional<ChangeRange> cells_pct = {};
  // Rests, after which the controller takes up what the cells show, tell the same
  // scale as its count while charging.
  bool level_agrees = false;
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
  std::size_t n_risen_at_rest = 0;          // as in RestObservations
};
[[nodiscard]] Witness hear_witness(const WitnessInput& input);

}  // namespace packmile
