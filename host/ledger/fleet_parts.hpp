// The [[part]] blocks of fleet.toml: what wears out, and where its life ends.
//
// Input     TOML tables; the vans of the fleet must have been read before.
// Output    Fleet::parts, or every mistake with its place.
#pragma once
#include <toml++/toml.h>

#include <string>

#include "ledger/fleet.hpp"
#include "ledger/toml_keys.hpp"

namespace packmile {

void read_parts(const toml::node& node, Fleet& fleet, Complaints& complaints);
// Reads the key vans of a block into `vans`: names that fleet.toml knows.
void read_vans_of(const toml::node& node, const Fleet& fleet, std::vector<std::string>& vans,
                  Complaints& complaints);

// The lines of fleet.toml's template, commented out.
[[nodiscard]] std::string parts_template();

}  // namespace packmile
