#include "cli/depot_choice.hpp"

#include <cstdlib>

#include "cli/progress.hpp"

namespace packmile::cli {

namespace fs = std::filesystem;

Result<fs::path> choose_depot(const std::optional<std::string>& option) {
  constexpr char kWays[] =
      "name one with --depot DIR or PACKMILE_DEPOT, or go into its folder; packmile new DIR makes "
      "one";
  const char* environment = std::getenv("PACKMILE_DEPOT");
  fs::path folder = ".";
  std::string from = "the current folder";
  if (option) {
    folder = *option;
    from = "--depot";
  } else if (environment != nullptr && *environment != '\0') {
    folder = environment;
    from = "PACKMILE_DEPOT";
  }
  // Said in full: "." says nothing in a line that is kept.
  std::error_code failed;
  if (const auto whole = fs::absolute(folder, failed).lexically_normal(); !failed) folder = whole;
  if (is_depot(folder)) return folder;
  return Error{"is no depot: it has no " + std::string{kFleetFileName} + " (from " + from + ")",
               folder.string(), kWays};
}

std::optional<OpenDepot> open_depot(const std::optional<std::string>& option) {
  const auto folder = choose_depot(option);
  if (!folder) {
    say(folder.error());
    return std::nullopt;
  }
  DepotRead read = read_depot(*folder);
  for (const Error& error : read.errors) say(error);
  if (!read.errors.empty()) return std::nullopt;
  for (const std::string& warning : read.depot.fleet.warnings) say(warning);
  auto ledger = Ledger::open(read.depot.ledger());
  if (!ledger) {
    say(ledger.error());
    return std::nullopt;
  }
  return OpenDepot{std::move(read.depot), std::move(*ledger)};
}

std::optional<std::vector<RebuiltVan>> refresh(OpenDepot& open, bool everything) {
  Progress progress{"rebuilding", "vans"};
  auto vans =
      rebuild(open.depot, open.ledger,
              {everything, [&](std::size_t done, std::size_t total) { progress.at(done, total); }});
  if (!vans) {
    say(vans.error());
    return std::nullopt;
  }
  return std::move(*vans);
}

}  // namespace packmile::cli
