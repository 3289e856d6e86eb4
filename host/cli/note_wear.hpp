// Says how fast what was just measured by a gauge wears, and when it is due; and which
// odometer readings contradict the van's own.
#pragma once
#include <cstdint>
#include <set>

#include "cli/depot_choice.hpp"

namespace packmile::cli {

// Of treads and pads with these ids that are the newest of their tyre or axle, and of
// odometer notes with these ids. False: an error, which has been said.
[[nodiscard]] bool tell_wear(OpenDepot& open, const std::set<std::uint32_t>& ids);

}  // namespace packmile::cli
