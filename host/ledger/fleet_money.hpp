// The blocks of fleet.toml that money is reckoned from: [[tariff]], [[place]],
// [depot_meter], [[fixed_cost]].
//
// Input     TOML tables; the zone and the vans of the fleet must have been read
//           before: days are those of the zone, and vans are named.
// Output    Fleet::money and Fleet::fixed_costs, or every mistake with its place.
// Rule      the bands of a tariff cover the whole week, each minute once: what
//           overlaps or is missing is told with its hours.
// Bounded   kMostMoneyBlocks of each.
#pragma once
#include <toml++/toml.h>

#include <cstddef>

#include "ledger/fleet.hpp"
#include "ledger/toml_keys.hpp"

namespace packmile {

inline constexpr std::size_t kMostMoneyBlocks = 2'000;

void read_money(const toml::table& file, Fleet& fleet, Complaints& complaints);

// The part of the template with these blocks, all of them commented out.
[[nodiscard]] std::string_view money_template();

}  // namespace packmile
