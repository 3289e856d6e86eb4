// packmile rebuild: makes the ledger anew from archive, fleet.toml and notes.
#include <fmt/core.h>

#include "cli/commands.hpp"
#include "cli/depot_choice.hpp"

namespace packmile::cli {

ExitCode run_rebuild(const RebuildOptions& options) {
  auto open = open_depot(options.depot);
  if (!open) return ExitCode::failed;
  const auto vans = refresh(*open, true);
  if (!vans) return ExitCode::failed;
  const auto notes = open->ledger.notes();
  if (!notes) {
    say(notes.error());
    return ExitCode::failed;
  }
  fmt::print("rebuilt {} from the archive and the notes: {} {}, {} {}\n",
             clean_text(open->depot.ledger().string()), vans->size(),
             vans->size() == 1 ? "van" : "vans", *notes, *notes == 1 ? "note" : "notes");
  return ExitCode::done;
}

}  // namespace packmile::cli
