// packmile note --list: the notes of a depot with their numbers.
#pragma once
#include "cli/commands.hpp"
#include "cli/depot_choice.hpp"

namespace packmile::cli {

[[nodiscard]] ExitCode list_notes(const NoteOptions& options, const OpenDepot& open);

}  // namespace packmile::cli
