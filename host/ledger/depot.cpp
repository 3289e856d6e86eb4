#include "ledger/depot.hpp"

#include <fstream>
#include <utility>

#include "ledger/note_entry.hpp"

namespace packmile {

namespace fs = std::filesystem;

namespace {

Result<Done> write_file(const fs::path& file, const std::string& text) {
  std::ofstream out{file, std::ios::binary | std::ios::trunc};
  out << text;
  out.close();
  if (!out) return Error{"cannot be written", file.string(), "is the disk full or read-only?"};
  return Done{};
}

}  // namespace

bool is_depot(const fs::path& folder) {
  std::error_code ignored;
  return fs::is_regular_file(folder / kFleetFileName, ignored);
}

DepotRead read_depot(const fs::path& root) {
  FleetRead read = read_fleet(root / kFleetFileName);
  return {{root, std::move(read.fleet)}, std::move(read.errors)};
}

NotesRead read_notes(const Depot& depot) {
  const auto text = read_notes_text(depot.notes());
  if (!text) return {{}, {text.error()}};
  return notes_of(depot, *text);
}

NotesRead notes_of(const Depot& depot, std::string_view text) {
  NotesRead read = parse_notes(text, depot.notes().string(), depot.fleet.zone);
  for (Note& note : read.notes) note.van = note_van_name(depot.fleet, note.van);
  return read;
}

Result<Depot> make_depot(const fs::path& root, const std::string& zone,
                         const std::string& currency) {
  // Judge the words before anything is made.
  const std::string text = fleet_template(zone, currency);
  FleetRead fleet = parse_fleet(text, (root / kFleetFileName).string());
  if (!fleet.errors.empty()) return Error{fleet.errors.front().what, {}, fleet.errors.front().hint};

  std::error_code failed;
  if (fs::exists(root, failed)) {
    if (!fs::is_directory(root, failed))
      return Error{"is a file, and a depot is a folder", root.string(), "name another folder"};
    if (!fs::is_empty(root, failed) || failed)
      return Error{failed ? "cannot be read: " + failed.message() : "the folder is not empty",
                   root.string(), "name a folder that is empty or does not exist yet"};
  }
  fs::create_directories(root / kArchiveFolderName, failed);
  if (failed)
    return Error{"cannot be made: " + failed.message(), root.string(),
                 "is the disk read-only, or a part of the path a file?"};

  auto ledger = Ledger::open(root / kLedgerFileName);
  if (!ledger) return ledger.error();
  if (auto done = write_file(root / kNotesFileName, kNotesHeader); !done) return done.error();
  // Last: it is what makes the folder a depot.
  if (auto done = write_file(root / kFleetFileName, text); !done) return done.error();
  return Depot{root, std::move(fleet.fleet)};
}

}  // namespace packmile
