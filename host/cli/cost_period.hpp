// The period that costs are added up over, and the vans that share in them.
#pragma once
#include <optional>
#include <utility>
#include <vector>

#include "cli/van_rows.hpp"
#include "ledger/van_cost.hpp"

namespace packmile::cli {

// Whole local days, so that a last evening is in them: to the end of today, where
// no other end is asked for.
// Absent: nothing is on record in it.
[[nodiscard]] std::optional<std::pair<UtcTime, UtcTime>> whole_period(
    const Asked& asked, UtcTime today, const std::vector<VanMoney>& vans);

// When each van of fleet.toml was owned, whichever were asked for.
[[nodiscard]] Result<std::vector<OwnedSpan>> owned_spans(Asked& asked);

}  // namespace packmile::cli
