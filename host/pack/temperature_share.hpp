// What cold takes from a van's capacity, told by its own charges.
//
// Input     charges of one segment, measured one by one.
// Method    weighted least squares of Ah on age and ambient temperature together.
// Refuses   fewer than 8 charges in each of two strata: no literature value is
//           taken instead.
#pragma once
#include <optional>
#include <span>

#include "figure.hpp"
#include "pack/charge_capacity.hpp"

namespace packmile {

inline constexpr double kReferenceC = 20;

// Relative change of capacity per kelvin, about kReferenceC.
[[nodiscard]] std::optional<Figure> fit_temperature_share(std::span<const ChargeCapacity> charges);

}  // namespace packmile
