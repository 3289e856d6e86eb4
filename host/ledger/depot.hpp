// A depot: one folder with everything that one fleet knows.
//
//   fleet.toml   slow facts, written by the owner
//   notes.csv    what only people know, append-only
//   archive/     every good sector ever read
//   depot.db     the ledger; may be deleted
#pragma once
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/fleet.hpp"
#include "ledger/ledger.hpp"
#include "ledger/note_store.hpp"
#include "result.hpp"

namespace packmile {

inline constexpr char kFleetFileName[] = "fleet.toml";
inline constexpr char kArchiveFolderName[] = "archive";

struct Depot {
  std::filesystem::path root;
  Fleet fleet;

  [[nodiscard]] std::filesystem::path archive() const { return root / kArchiveFolderName; }
  [[nodiscard]] std::filesystem::path ledger() const { return root / kLedgerFileName; }
  [[nodiscard]] std::filesystem::path notes() const { return root / kNotesFileName; }
};

// A folder with a fleet.toml in it.
[[nodiscard]] bool is_depot(const std::filesystem::path& folder);

struct DepotRead {
  Depot depot;
  std::vector<Error> errors;  // of fleet.toml, in order of lines; empty: all is well
};
[[nodiscard]] DepotRead read_depot(const std::filesystem::path& root);

// Every note of the depot, in the order in which they were entered, with the names
// that fleet.toml gives to the vans.
[[nodiscard]] NotesRead notes_of(const Depot& depot, std::string_view text);  // of this text
[[nodiscard]] NotesRead read_notes(const Depot& depot);

// Makes a depot in a folder that is missing or empty.
[[nodiscard]] Result<Depot> make_depot(const std::filesystem::path& root, const std::string& zone,
                                       const std::string& currency);

}  // namespace packmile
