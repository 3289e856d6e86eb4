#include "cli/note_wear.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "report/number_text.hpp"
#include "cli/van_rows.hpp"
#include "ledger/upkeep.hpp"

namespace packmile::cli {
namespace {

// A year's file of measurements is not answered line by line.
constexpr std::size_t kMostWearLines = 12;
// What wear is told for; kilometres or miles.
constexpr double kWearTold = 10'000;

// The van's newest moment in archive and notes, from which dates count.
Result<UtcTime> last_moment(OpenDepot& open, const AskedVan& van, std::span<const Note> notes) {
  UtcTime last{};
  for (const Note& note : notes)
    last = std::max(
        last, note.when.is_day() ? note.when.to - std::chrono::milliseconds{1} : note.when.from);
  if (!van.id) return last;
  const auto covered = open.ledger.covered(*van.id);
  if (!covered) return covered.error();
  return covered->to ? std::max(last, *covered->to) : last;
}

std::string due_words(const std::optional<DueDates>& due, const std::string& why) {
  if (!due) return "not told: " + clean_text(why);
  if (!due->latest) return fmt::format("from {} on", text_of(due->earliest));
  return fmt::format("between {} and {}", text_of(due->earliest), text_of(*due->latest));
}

std::string wear_text(const UpkeepRow& row, bool miles) {
  const std::string what = fmt::format("{} {}", clean_text(row.part), row.position);
  if (!row.mm_per_1000_km.figure)
    return fmt::format("wear of {} is not told yet: {}", what, clean_text(row.mm_per_1000_km.why));
  const double factor = kWearTold / 1'000 * (miles ? kKmPerMile : 1);
  std::string out =
      fmt::format("wear of {} {} mm per 10,000 {}", what,
                  figure_text(*row.mm_per_1000_km.figure, factor), miles ? "miles" : "km");
  out += fmt::format("; {:.1f} mm are due {}", row.state.limit.value_or(0),
                     due_words(row.state.due, row.state.due_why));
  if (row.legal_limit_mm && row.legal_due)
    out += fmt::format(", the law's {:.1f} mm {}", *row.legal_limit_mm,
                       due_words(row.legal_due, row.legal_due_why));
  return out;
}

Result<Done> tell_wear_of(OpenDepot& open, const AskedVan& van, const std::set<std::uint32_t>& ids,
                          std::vector<std::string>& lines) {
  const auto notes = open.ledger.notes_of(van.names.van);
  if (!notes) return notes.error();
  const auto measured = [&](const Note& note) {
    return ids.contains(note.id) && (note.kind == NoteKind::tread || note.kind == NoteKind::pad);
  };
  const auto read = [&](const Note& note) {
    return ids.contains(note.id) && note.kind == NoteKind::odometer;
  };
  const bool any_measured = std::ranges::any_of(*notes, measured);
  if (!any_measured && std::ranges::none_of(*notes, read)) return Done{};
  const auto today = last_moment(open, van, *notes);
  if (!today) return today.error();
  const auto parts = parts_of_van(open, van);
  if (!parts) return parts.error();
  const Fleet& fleet = open.depot.fleet;
  const VanNotes values = van_notes_of(*notes, van.names.van);
  bool miles = false;
  for (const Note& note : *notes)
    if (note.kind == NoteKind::odometer) miles = note.values[kOdometerReading].text.ends_with("mi");
  const VanDuty duty = duty_of(*parts, values, fleet.zone, *today);
  for (const LeftOutNote& note : duty.left_out)
    if (ids.contains(note.id)) lines.push_back(clean_text(note.why) + "\n");
  if (!any_measured) return Done{};
  const VanUpkeep upkeep = upkeep_of(fleet, van.names, duty, values);
  for (const Note& note : *notes) {
    if (!measured(note)) continue;
    const auto row = std::ranges::find_if(upkeep.rows, [&](const UpkeepRow& one) {
      return one.state.rule == PartRule::measured &&
             one.last_source == fmt::format("note {}", note.id);
    });
    if (row != upkeep.rows.end())
      lines.push_back(fmt::format("note {}: {}\n", note.id, wear_text(*row, miles)));
  }
  return Done{};
}

}  // namespace

bool tell_wear(OpenDepot& open, const std::set<std::uint32_t>& ids) {
  if (ids.empty()) return true;
  const NotesRead read = read_notes(open.depot);
  std::set<std::string> names;
  for (const Note& note : read.notes)
    if (ids.contains(note.id)) names.insert(note.van);
  const auto known = open.ledger.vans();
  if (!known) {
    say(known.error());
    return false;
  }
  std::vector<std::string> lines;
  for (const std::string& name : names) {
    AskedVan van{{name, {}}, std::nullopt};
    for (const LedgerVan& one : *known)
      if (one.names.van == name) van = {one.names, one.id};
    if (const auto done = tell_wear_of(open, van, ids, lines); !done) {
      say(done.error());
      return false;
    }
  }
  for (std::size_t k = 0; k < std::min(lines.size(), kMostWearLines); ++k)
    fmt::print("{}", lines[k]);
  if (lines.size() > kMostWearLines)
    fmt::print("and {} more: packmile upkeep\n", lines.size() - kMostWearLines);
  return true;
}

}  // namespace packmile::cli
