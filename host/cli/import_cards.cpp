// packmile import: good sectors of cards into the archive, then the figures of
// the vans that changed.
#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "archive/archive.hpp"
#include "cli/card_list.hpp"
#include "cli/commands.hpp"
#include "cli/depot_choice.hpp"
#include "cli/progress.hpp"
#include "cli/van_rows.hpp"

namespace packmile::cli {
namespace {

struct ImportedCard {
  std::string name;
  CardSurvey survey;
  ArchiveAdded added;
};

std::string counted(std::uint64_t n, const char* what) {
  return n == 0 ? std::string{} : fmt::format(", {} {}", n, what);
}

// "imported 48213 sectors (12 damaged)"
std::string line_of(const ImportedCard& card) {
  std::string beside = counted(card.added.known, "there already") +
                       counted(card.survey.sectors_damaged, "damaged") +
                       counted(card.survey.sectors_unreadable, "unreadable") +
                       counted(card.survey.sectors_missing, "missing") +
                       counted(card.survey.sectors_foreign, "foreign") +
                       counted(card.survey.sectors_misplaced, "misplaced") +
                       counted(card.added.conflicts, "in conflict");
  std::string out = fmt::format("imported {} sectors", card.added.added);
  if (!beside.empty()) out += " (" + beside.substr(2) + ")";
  return out;
}

// The van of a card, in the ledger's words.
const LedgerVan* van_of(const CardSurvey& survey, const std::vector<LedgerVan>& vans) {
  const auto found = std::ranges::find_if(vans, [&](const LedgerVan& van) {
    if (!survey.vins.empty()) return van.names.vin == survey.vins.back();
    if (!survey.van.empty()) return van.names.van == survey.van;
    return survey.log_id && van.names.van == fmt::format("log-{:08X}", *survey.log_id);
  });
  return found == vans.end() ? nullptr : &*found;
}

std::string cover_of(const ImportedCard& card, const std::vector<LedgerVan>& vans,
                     OpenDepot& open) {
  const LedgerVan* van = van_of(card.survey, vans);
  if (van == nullptr) return {};
  const auto covered = open.ledger.covered(van->id);
  if (!covered || !covered->from || !covered->to) return {};
  const Zone& zone = open.depot.fleet.zone;
  return fmt::format("; the archive now covers {} to {} of {}", zone.day(*covered->from),
                     zone.day(*covered->to), van->names.van);
}

// What the card's log had overwritten before anybody read it, in every van.
std::string lost_of(const ImportedCard& card, const std::vector<LedgerVan>& vans, OpenDepot& open) {
  std::string out;
  if (!card.survey.log_id) return out;
  for (const LedgerVan& van : vans) {
    auto lost = open.ledger.lost(van.id);
    if (!lost) continue;
    std::erase_if(*lost, [&](const LostStretch& one) {
      return one.log_id != *card.survey.log_id || one.why != LostWhy::overwritten;
    });
    out += lost_text(van.names.van, *lost, open.depot.fleet.zone);
  }
  return out;
}

// What is doubtful about whose card it is, and what to do about it.
std::string use_of(const ImportedCard& card, const std::vector<LedgerVan>& vans, OpenDepot& open) {
  if (!card.survey.log_id) return {};
  const Zone& zone = open.depot.fleet.zone;
  struct VanUse {
    std::string van;
    CardUse card;
  };
  std::vector<VanUse> uses;
  for (const LedgerVan& van : vans) {
    const auto cards = open.ledger.cards(van.id);
    if (!cards) continue;
    for (const CardUse& one : *cards)
      if (one.log_id == *card.survey.log_id) uses.push_back({van.names.van, one});
  }
  std::ranges::stable_sort(
      uses, {}, [](const VanUse& use) { return use.card.from.value_or(UtcTime::min()); });
  std::string out;
  const std::string name = clean_text(card.name);
  if (uses.size() > 1) {
    out += fmt::format("{}: this card was used in {} vans, and each has its own rows:", name,
                       uses.size());
    for (const VanUse& use : uses)
      out += fmt::format(
          " {} {},", clean_text(use.van),
          use.card.from ? "from " + zone.minute(*use.card.from) + " to " + zone.minute(*use.card.to)
                        : "without samples");
    out.back() = '\n';
    out += "  give each van a card of its own: packmile card prepare TARGET --van NAME\n";
  }
  for (const VanUse& use : uses) {
    for (const Finding finding : use.card.findings) {
      if (finding == Finding::van_changed) continue;
      const char* hint = "";
      if (finding == Finding::van_name_of_another_vin)
        hint =
            "the rows go by the VIN; put the right name on the card with packmile card prepare, "
            "or move it back";
      else if (finding == Finding::time_overlap)
        hint =
            "another card of this van claims the same time: check the clock of both loggers, and "
            "that no copy of a card was used";
      else if (finding == Finding::van_told_by_evidence)
        hint =
            "if that is wrong, prepare the card with the right name: packmile card prepare "
            "TARGET --van NAME";
      else if (finding == Finding::van_not_told)
        hint =
            "prepare the card with the van's name, which tells where the VIN does not: packmile "
            "card prepare TARGET --van NAME";
      out += fmt::format("{}: {}, {}: {}\n  {}\n", name, clean_text(use.van),
                         entry_of(finding).word, entry_of(finding).text, hint);
    }
  }
  return out;
}

// "not read: sectors 2048 to 131071 (Input/output error)", the first few.
std::string unreadable_of(const CardSurvey& survey) {
  constexpr std::size_t kMostLines = 5;
  std::string out;
  for (std::size_t k = 0; k < std::min(survey.unreadable.size(), kMostLines); ++k) {
    const UnreadableRun& run = survey.unreadable[k];
    out += fmt::format("  not read: sectors {} to {} ({})\n", run.first_sector,
                       run.first_sector + run.sectors - 1, clean_text(run.why));
  }
  if (survey.unreadable.size() > kMostLines)
    out += fmt::format("  not read: {} sectors in all\n", survey.sectors_unreadable);
  return out;
}

// Whether the archive itself went wrong: then nothing more is tried.
enum class Step { next, stop };

Step import_one(const std::string& name, const std::optional<UtcTime>& pulled_at, Archive& archive,
                CardList& list, std::vector<ImportedCard>& imported) {
  const auto card = CardFile::open(name);
  if (!card) {
    say(card.error());
    list.add(CardVerdict::no_log);
    return Step::next;
  }
  auto import = archive.begin_import();
  if (!import) {
    say(import.error());
    return Step::stop;
  }
  ImportedCard one{name, {}, {}};
  {
    Progress progress{name, "sectors"};
    one.survey = survey_card(
        *card,
        [&](const SectorHeader& header, std::span<const std::uint8_t, kSectorBytes> sector) {
          import->add(header, sector);
        },
        [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); });
  }
  if (!one.survey.message.empty()) say(Error{one.survey.message, name, one.survey.hint});
  list.add(one.survey.verdict);
  if (one.survey.verdict == CardVerdict::no_log) return Step::next;
  if (pulled_at && one.survey.log_id) {
    PulledCard pulled{*pulled_at, 0};
    for (const BootFacts& boot : one.survey.boots)
      pulled.last_sequence = std::max(pulled.last_sequence, boot.last_sequence);
    const auto kept = keep_pulled_at(archive, *import, *one.survey.log_id, pulled);
    if (!kept) {
      say(kept.error());
      return Step::stop;
    }
  }
  const auto added = import->commit();
  if (!added) {
    say(added.error());
    return Step::stop;
  }
  one.added = *added;
  imported.push_back(std::move(one));
  return Step::next;
}

}  // namespace

ExitCode run_import(const ImportOptions& options) {
  auto open = open_depot(options.depot);
  if (!open) return ExitCode::failed;
  std::optional<UtcTime> pulled_at;
  if (options.pulled_at) {
    const auto at = open->depot.fleet.zone.read(*options.pulled_at);
    if (!at) return wrong_usage("--pulled-at: " + at.error().what, at.error().hint);
    pulled_at = *at;
  }
  auto archive = Archive::open(open->depot.archive());
  if (!archive) {
    say(archive.error());
    return ExitCode::failed;
  }

  CardList list;
  std::vector<ImportedCard> imported;
  bool stopped = false;
  for (const std::string& name : options.cards) {
    if (import_one(name, pulled_at, *archive, list, imported) == Step::stop) {
      stopped = true;
      break;
    }
  }

  // Even after a failure: what is in the archive should be in the figures.
  const auto vans = refresh(*open);
  if (!vans) {
    for (const ImportedCard& card : imported)
      fmt::print(stderr,
                 "{}: {}; the archive has them, and the figures follow once that is mended\n",
                 clean_text(card.name), line_of(card));
    return ExitCode::failed;
  }
  const auto in_ledger = open->ledger.vans();
  if (!in_ledger) {
    say(in_ledger.error());
    return ExitCode::failed;
  }
  for (const ImportedCard& card : imported) {
    fmt::print(stderr, "{}: {}{}\n", clean_text(card.name), line_of(card),
               clean_text(cover_of(card, *in_ledger, *open)));
    fmt::print(stderr, "{}", unreadable_of(card.survey));
    for (const Finding finding : card.survey.findings)
      fmt::print(stderr, "  {}: {}\n", entry_of(finding).word, entry_of(finding).text);
  }
  for (const ImportedCard& card : imported)
    fmt::print(stderr, "{}{}", use_of(card, *in_ledger, *open), lost_of(card, *in_ledger, *open));
  std::string unknown;
  for (const RebuiltVan& van : *vans)
    if (!van.known_to_fleet)
      unknown += "\n" + van_lines(clean_text(van.names.van), clean_text(van.names.vin));
  if (!unknown.empty())
    fmt::print(stderr, "{} does not know every van; paste and complete:\n{}",
               clean_text((open->depot.root / kFleetFileName).string()), unknown);
  return stopped ? ExitCode::failed : list.code();
}

}  // namespace packmile::cli
