// packmile card release: may this card be prepared again? Writes nothing.
#include <fmt/format.h>

#include "cli/card_contents.hpp"
#include "cli/commands.hpp"

namespace packmile::cli {

ExitCode run_card_release(const CardReleaseOptions& options) {
  const auto keeper = find_keeper(options.depot);
  if (!keeper) return ExitCode::failed;
  const auto contents = look_through(options.target, *keeper);
  if (!contents) {
    say(contents.error());
    return ExitCode::failed;
  }
  if (const auto reason = reason_to_keep(*contents, *keeper)) {
    say(*reason);
    return ExitCode::attention;
  }
  const std::uint64_t good = contents->unarchived.good;
  const std::string target = clean_text(options.target);
  if (good == 0)
    fmt::print("{}: no good sector with data (0): the card may be prepared again\n", target);
  else
    fmt::print("{}: every good sector ({}) is in the archive {}: the card may be prepared again\n",
               target, good, clean_text(keeper->depot->archive().string()));
  return ExitCode::done;
}

}  // namespace packmile::cli
