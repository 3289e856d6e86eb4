// packmile new: makes a depot folder.
#include <fmt/core.h>

#include "cli/commands.hpp"
#include "ledger/depot.hpp"

namespace packmile::cli {

ExitCode run_new(const NewOptions& options) {
  // Words that cannot be right are usage, whatever the disk says.
  const auto words = parse_fleet(fleet_template(options.zone, options.currency), {});
  if (!words.errors.empty())
    return wrong_usage(words.errors.front().what, "see packmile new --help");
  const auto depot = make_depot(options.folder, options.zone, options.currency);
  if (!depot) {
    say(depot.error());
    return ExitCode::failed;
  }
  fmt::print(
      "made the depot {}: {} (zone {}, currency {}), {}, {}/, {}\n"
      "next: name the vans in {}, then packmile import CARD...\n",
      clean_text(options.folder), kFleetFileName, options.zone, options.currency, kNotesFileName,
      kArchiveFolderName, kLedgerFileName, kFleetFileName);
  return ExitCode::done;
}

}  // namespace packmile::cli
