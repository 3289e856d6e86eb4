// The [[keep]] blocks of fleet.toml: what keeping a van or buying another one
// hangs on.
//
// Input     TOML tables; the vans of the fleet must have been read before.
// Output    Fleet::keeps, or every mistake with its place.
// Rule      no key has a default: what is left out is asked for.
#pragma once
#include <toml++/toml.h>

#include <string>

#include "ledger/fleet.hpp"
#include "ledger/toml_keys.hpp"

namespace packmile {

void read_keeps(const toml::node& node, Fleet& fleet, Complaints& complaints);

// The lines of fleet.toml's template, commented out.
[[nodiscard]] std::string keep_template();

}  // namespace packmile
