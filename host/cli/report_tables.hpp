// Every table of a depot at once: what the commands of the same names write.
#pragma once
#include <string_view>
#include <utility>
#include <vector>

#include "cli/van_evidence.hpp"

namespace packmile::cli {

using NamedRows = std::pair<std::string_view, Rows>;

// trips, sessions, throughput, cost, upkeep, compare, verdicts, capacity, fade.
[[nodiscard]] Result<std::vector<NamedRows>> all_tables(Asked& asked, const AsOf& as_of);

}  // namespace packmile::cli
