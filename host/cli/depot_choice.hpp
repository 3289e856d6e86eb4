// Which depot a command works on: --depot, else PACKMILE_DEPOT, else the current
// folder if it is one.
#pragma once
#include <optional>
#include <string>

#include "cli/say.hpp"
#include "ledger/depot.hpp"
#include "ledger/ledger.hpp"
#include "ledger/rebuild.hpp"

namespace packmile::cli {

// The folder, or an Error that names the three ways.
[[nodiscard]] Result<std::filesystem::path> choose_depot(const std::optional<std::string>& option);

// A depot with its ledger open. The error, if any, has been said.
struct OpenDepot {
  Depot depot;
  Ledger ledger;
};
[[nodiscard]] std::optional<OpenDepot> open_depot(const std::optional<std::string>& option);

// Brings the ledger up to archive and fleet.toml, with a progress line. The
// error, if any, has been said.
[[nodiscard]] std::optional<std::vector<RebuiltVan>> refresh(OpenDepot& open,
                                                             bool everything = false);

}  // namespace packmile::cli
