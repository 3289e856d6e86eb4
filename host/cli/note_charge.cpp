#include "cli/note_charge.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "report/number_text.hpp"
#include "energy/noted_charges.hpp"

namespace packmile::cli {
namespace {

// A file of a year's notes is not answered line by line.
constexpr std::size_t kMostToldApart = 10;

struct Told {
  std::size_t known = 0;
  std::vector<std::string> lines;
};

Result<Done> tell_van(OpenDepot& open, const LedgerVan& van, const std::set<std::uint32_t>& ids,
                      Told& told) {
  const auto notes = van_notes(open.ledger, van.names.van);
  if (!notes) return notes.error();
  const auto covered = open.ledger.covered(van.id);
  if (!covered) return covered.error();
  if (!covered->from || !covered->to) return Done{};
  const auto sessions = open.ledger.sessions(van.id, {});
  if (!sessions) return sessions.error();
  const auto verdicts = open.ledger.verdicts(van.id);
  if (!verdicts) return verdicts.error();
  // Its charges then have the usual loss in them by way of the notes themselves.
  const bool gain_known = std::ranges::any_of(*verdicts, [](const Verdict& verdict) {
    return verdict.question == VerdictQuestion::gain && verdict.answer == VerdictAnswer::agreed;
  });
  const Zone& zone = open.depot.fleet.zone;
  // All of the van's: two notes may be about the same charge.
  for (const NotedCharge& note :
       match_noted_charges(*notes, *sessions, [&](UtcTime at) { return zone.minute(at); })) {
    if (!ids.contains(note.note_id)) continue;
    if (note.when.to < *covered->from || note.when.from > *covered->to) continue;
    if (!note.session) {
      told.lines.push_back(fmt::format("note {}: which charge it is about cannot be told: {}\n",
                                       note.note_id, clean_text(note.why)));
      continue;
    }
    ++told.known;
    const ChargeSession& session = (*sessions)[*note.session];
    std::string lost;
    if (const MaybeFigure away = not_arrived_pct(note, session); away.figure && !gain_known)
      lost = fmt::format(
          "; {} % of the noted {:.4g} kWh did not arrive there, what the van's sensors are off by "
          "included",
          figure_text(away), note.kwh);
    told.lines.push_back(fmt::format(
        "note {}: it is about the charge of {} to {}, {} kWh into the pack{}\n", note.note_id,
        zone.minute(session.start), zone.minute(session.end), figure_text(session.pack_kwh), lost));
  }
  return Done{};
}

}  // namespace

bool tell_charges(OpenDepot& open, const std::set<std::uint32_t>& ids) {
  if (ids.empty()) return true;
  const auto vans = open.ledger.vans();
  if (!vans) {
    say(vans.error());
    return false;
  }
  Told told;
  for (const LedgerVan& van : *vans)
    if (const auto done = tell_van(open, van, ids, told); !done) {
      say(done.error());
      return false;
    }
  for (std::size_t k = 0; k < std::min(told.lines.size(), kMostToldApart); ++k)
    fmt::print("{}", told.lines[k]);
  if (told.lines.size() > kMostToldApart)
    fmt::print("of {} notes with kWh {} are about a charge that the cards know\n",
               told.lines.size(), told.known);
  return true;
}

}  // namespace packmile::cli
