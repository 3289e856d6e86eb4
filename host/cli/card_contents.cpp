#include "cli/card_contents.hpp"

#include <fmt/format.h>

#include <cstdlib>

#include "card/card_file.hpp"
#include "cli/depot_choice.hpp"
#include "cli/progress.hpp"
#include "cli/say.hpp"

namespace packmile::cli {
namespace {

std::string van_and_days(const CardContents& contents, const Keeper& keeper) {
  const CardSurvey& survey = contents.survey;
  std::string text;
  const FleetVan* known = nullptr;
  if (keeper.depot && !survey.vins.empty())
    known = keeper.depot->fleet.van_of_vin(survey.vins.back());
  if (known)
    text = " of van " + known->name;
  else if (!survey.van.empty())
    text = " of van " + survey.van;
  else if (!survey.vins.empty())
    text = " of the van with VIN " + survey.vins.back();
  else
    text = " of a van without a name";
  const Unarchived& unarchived = contents.unarchived;
  if (!unarchived.first) return text + ", on days not known (no clock)";
  std::optional<Zone> zone;
  if (keeper.depot)
    zone = keeper.depot->fleet.zone;
  else if (auto utc = Zone::find("UTC"))
    zone = *utc;
  if (!zone) return text;
  return text +
         fmt::format(", {} to {}", zone->day(*unarchived.first), zone->day(*unarchived.last));
}

}  // namespace

std::optional<Keeper> find_keeper(const std::optional<std::string>& option) {
  Keeper keeper;
  const auto folder = choose_depot(option);
  if (!folder) {
    const char* environment = std::getenv("PACKMILE_DEPOT");
    if (!option && (environment == nullptr || *environment == '\0')) return keeper;
    say(folder.error());
    return std::nullopt;
  }
  DepotRead read = read_depot(*folder);
  for (const Error& error : read.errors) say(error);
  if (!read.errors.empty()) return std::nullopt;
  keeper.depot = std::move(read.depot);
  // Not made here: nothing is written, and without one nothing is archived.
  std::error_code failed;
  if (!std::filesystem::is_directory(keeper.depot->archive(), failed)) return keeper;
  auto archive = Archive::open(keeper.depot->archive());
  if (!archive) {
    say(archive.error());
    return std::nullopt;
  }
  keeper.archive = std::move(*archive);
  return keeper;
}

Result<CardContents> look_through(const std::string& target, const Keeper& keeper) {
  LogExtent log;
  {
    // Where the log is; then all of it is looked at.
    const auto card = CardFile::open(target);
    if (!card) return card.error();
    if (card->kind() == CardKind::image)
      log = {static_cast<std::uint32_t>(card->first_sector()),
             static_cast<std::uint32_t>(card->sectors())};
  }
  const auto whole = CardFile::open_whole(target);
  if (!whole) return whole.error();
  CardContents contents;
  contents.target = target;
  {
    Progress progress{target, "sectors"};
    contents.survey = survey_card(
        *whole, [](const SectorHeader&, std::span<const std::uint8_t, kSectorBytes>) {},
        [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); });
  }
  const auto unarchived =
      find_unarchived(*whole, contents.survey, keeper.archive ? &*keeper.archive : nullptr, log);
  if (!unarchived) return unarchived.error();
  contents.unarchived = *unarchived;
  return contents;
}

std::optional<Error> reason_to_keep(const CardContents& contents, const Keeper& keeper) {
  const CardSurvey& survey = contents.survey;
  const Unarchived& unarchived = contents.unarchived;
  if (unarchived.missing != 0) {
    const std::string card = survey.log_id ? fmt::format("card {:08X} ", *survey.log_id) : "";
    Error error{
        fmt::format("{}holds {} good {}{}", card, unarchived.missing,
                    unarchived.missing == 1 ? "sector" : "sectors", van_and_days(contents, keeper)),
        contents.target,
        {}};
    if (!keeper.depot) {
      error.what += ", and there is no depot here to look for them in";
      error.hint =
          "name the depot with --depot DIR (packmile new DIR makes one); first: packmile import " +
          contents.target + " --depot DIR";
      return error;
    }
    error.what +=
        fmt::format(", that the archive {} does not have", keeper.depot->archive().string());
    error.hint = fmt::format("first: packmile import {} --depot {}", contents.target,
                             keeper.depot->root.string());
    if (unarchived.missing_elsewhere != 0)
      error.hint += fmt::format(
          "; {} of them lie outside the log file, left from an earlier use: where import does not "
          "find them, delete {} on the card, and it searches the whole card",
          unarchived.missing_elsewhere, kLogFileName);
    return error;
  }
  if (survey.sectors_unreadable != 0)
    return Error{fmt::format("{} sectors cannot be read, and may hold what is in no archive",
                             survey.sectors_unreadable),
                 contents.target, "try another reader; if it stays so, take another card"};
  if (survey.sectors_newer != 0)
    return Error{
        fmt::format("{} sectors are of a newer logger, and in no archive", survey.sectors_newer),
        contents.target, "use a newer version of this program"};
  return std::nullopt;
}

}  // namespace packmile::cli
