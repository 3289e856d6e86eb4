// A depot: one folder with everything that one fleet knows.
//
//   fleet.toml   slow facts, written by the owner
//   notes.csv    what only people know, append-only
//   archive/     every good sector ever read
//   depot.db     the ledger; may be deleted
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "ledger/fleet.hpp"
#include "ledger/ledger.hpp"
#include "result.hpp"

namespace packmile {

inline constexpr char kFleetFileName[] = "fleet.toml";
inline constexpr char kNotesFileName[] = "notes.csv";
inline constexpr char kNotesHeader[] = "van,date,kind,v1,v2,v3,remark\n";
inline constexpr char kArchiveFolderName[] = "archive";

struct Depot {
  std::filesystem::path root;
  Fleet fleet;

  [[nodiscard]] std::filesystem::path archive() const { return root / kArchiveFolderName; }
  [[nodiscard]] std::filesystem::path ledger() const { return root / kLedgerFileName; }
};

// A folder with a fleet.toml in it.
[[nodiscard]] bool is_depot(const std::filesystem::path& folder);

struct DepotRead {
  Depot depot;
  std::vector<Error> errors;  // of fleet.toml, in order of lines; empty: all is well
};
[[nodiscard]] DepotRead read_depot(const std::filesystem::path& root);

// Makes a depot in a folder that is missing or empty.
[[nodiscard]] Result<Depot> make_depot(const std::filesystem::path& root, const std::string& zone,
                                       const std::string& currency);

}  // namespace packmile
