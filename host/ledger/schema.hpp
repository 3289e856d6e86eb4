// The ledger's tables, and how an older ledger becomes a newer one.
//
// Rule      STRICT tables, one spelling with the rows; the ledger may be deleted
//           at any time and made again from archive and notes.
#pragma once
#include "ledger/sqlite.hpp"
#include "result.hpp"

namespace packmile {

// How many migrations this program knows: the user_version of its ledgers.
[[nodiscard]] int schema_version();

// Sets the connection up and runs the migrations that are missing. A ledger of
// a newer program is refused before anything is written.
[[nodiscard]] Result<Done> migrate(Db& db, const std::string& file);

}  // namespace packmile
