// Says which charge sessions the notes just entered are about.
#pragma once
#include <cstdint>
#include <set>

#include "cli/depot_choice.hpp"

namespace packmile::cli {

// Of notes with these ids, those with kWh in them that lie in a time of which the
// archive has cards; of others nothing can be said yet. False: an error, which has
// been said.
[[nodiscard]] bool tell_charges(OpenDepot& open, const std::set<std::uint32_t>& ids);

}  // namespace packmile::cli
