// packmile sheet: the form of the monthly walk-round, and its CSV twin.
#include <fmt/format.h>

#include <algorithm>

#include "cli/as_of.hpp"
#include "cli/commands.hpp"
#include "cli/depot_choice.hpp"
#include "cli/output.hpp"
#include "cli/sheet_pages.hpp"
#include "cli/van_rows.hpp"
#include "ledger/nearest.hpp"
#include "ledger/note_entry.hpp"
#include "ledger/upkeep.hpp"

namespace packmile::cli {
namespace {

// The newest odometer that each van's logger has read. Nothing: the error has been
// said.
std::optional<LoggedOdometers> logged_odometers(Ledger& ledger) {
  LoggedOdometers out;
  const auto vans = ledger.vans();
  if (!vans) {
    say(vans.error());
    return std::nullopt;
  }
  for (const LedgerVan& van : *vans) {
    const auto trace = ledger.trace(van.id);
    if (!trace) {
      say(trace.error());
      return std::nullopt;
    }
    if (!trace->odometer.empty()) out[van.names.van] = trace->odometer.back();
  }
  return out;
}

// What is due on each van by the last moment in archive and notes. Nothing: the error
// has been said.
std::optional<SheetDues> sheet_dues(const SheetOptions& options) {
  RowsOptions rows;
  rows.depot = options.depot;
  AskedOr answer = ask(rows, true);
  if (!answer.asked) return std::nullopt;
  Asked& asked = *answer.asked;
  const AsOfOr as_of = find_as_of(asked, std::nullopt);
  if (!as_of.as_of) return std::nullopt;
  SheetDues out;
  for (const AskedVan& van : asked.all) {
    const auto record = on_record(asked, van);
    if (!record) {
      say(record.error());
      return std::nullopt;
    }
    const VanUpkeep upkeep = upkeep_of(
        asked.open.depot.fleet, van.names,
        duty_of(record->parts, record->notes, asked.zone(), as_of.as_of->at), record->notes);
    for (const DuePart& due : parts_due_by(upkeep, upkeep.today + kSheetAhead))
      out[van.names.van].push_back({due.part, text_of(due.due)});
  }
  return out;
}

std::string pages(const std::vector<SheetVan>& vans, SheetFormat format) {
  switch (format) {
    case SheetFormat::text:
      return sheet_text(vans);
    case SheetFormat::html:
      return sheet_html(vans);
    case SheetFormat::csv:
      return sheet_csv(vans);
  }
  return {};
}

}  // namespace

ExitCode run_sheet(const SheetOptions& options) {
  auto open = open_depot(options.depot);
  if (!open) return ExitCode::failed;
  const NotesRead notes = read_notes(open->depot);
  for (const Error& error : notes.errors) say(error);
  if (!notes.errors.empty() || !refresh(*open)) return ExitCode::failed;
  const auto logged = logged_odometers(open->ledger);
  if (!logged) return ExitCode::failed;

  const Fleet& fleet = open->depot.fleet;
  const std::string only = options.van ? note_van_name(fleet, *options.van) : std::string{};
  const auto dues = sheet_dues(options);
  if (!dues) return ExitCode::failed;
  const std::vector<SheetVan> vans = sheet_of(fleet, notes.notes, *logged, only, *dues);
  if (vans.empty()) {
    std::vector<std::string> known;
    for (const SheetVan& van : sheet_of(fleet, notes.notes, *logged, {})) known.push_back(van.van);
    if (options.van)
      return wrong_usage(
          fmt::format("--van: nothing is known of '{}'{}", only, did_you_mean(only, known)),
          known.empty() ? "there are no vans yet"
                        : fmt::format("known: {}", fmt::join(known, ", ")));
    say(Error{"there is no van to walk round", (open->depot.root / kFleetFileName).string(),
              "name the vans in it: [[van]] and name = \"...\""});
    return ExitCode::failed;
  }
  auto out = Output::open(options.output);
  if (!out) {
    say(out.error());
    return ExitCode::failed;
  }
  out->write(pages(vans, options.format));
  if (const auto done = out->commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return ExitCode::done;
}

}  // namespace packmile::cli
