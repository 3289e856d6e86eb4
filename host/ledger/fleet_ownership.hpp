// The keys of [[van]] about owning it: first use, purchase, warranties, use, weight.
//
// Input     one [[van]] table.
// Output    FleetVan::facts.first_used, purchase, warranties, annual_km and the two
//           weights.
#pragma once
#include <array>
#include <string>

#include "ledger/fleet.hpp"
#include "ledger/toml_keys.hpp"

namespace packmile {

// Keys that read_ownership() reads.
inline const std::array<std::string, 7> kOwnershipKeys{
    "first_used",   "purchase",         "warranty",         "annual_km",
    "annual_miles", "plated_weight_kg", "unladen_weight_kg"};

void read_ownership(const toml::table& table, FleetVan& van, Complaints& complaints);

// The lines of fleet.toml's template, commented out.
[[nodiscard]] std::string_view ownership_template();

}  // namespace packmile
