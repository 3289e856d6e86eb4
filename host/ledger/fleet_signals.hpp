// The [[signal]] blocks of fleet.toml: signals that the owner of a van has
// defined.
//
// Standard  packmile.OwnersSignal in packmile.proto; ISO 14229-1 service 22.
// Input     TOML tables; the vans of the fleet must have been read before.
// Output    Fleet::signals, or every mistake with its place.
// Bounded   kMostSignalBlocks; what is compared within one van costs one step for
//           each bit of each of its signals.
#pragma once
#include <toml++/toml.h>

#include <cstddef>
#include <string>

#include "ledger/fleet.hpp"
#include "ledger/toml_keys.hpp"

namespace packmile {

// 16 for each of more than a thousand kinds of vans; more is not a settings file.
inline constexpr std::size_t kMostSignalBlocks = 20'000;

void read_signals(const toml::node& node, Fleet& fleet, Complaints& complaints);

// The words of all roles, with commas between.
[[nodiscard]] std::string role_words();

}  // namespace packmile
