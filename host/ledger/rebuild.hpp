// From the archive to the ledger.
//
// Input     fleet.toml, notes.csv and the archive of a depot.
// Output    the ledger: all vans in one transaction.
// Method    two passes over a van's episodes: first what its words mean, then
//           its account.
// Rule      a van is worked out anew only when its sectors, its facts or its notes
//           changed;
//           the outcome depends on neither the order of imports nor the machine.
// Bounded   one episode in memory; where a card without VIN belongs to a van
//           known by VIN, the shorter histories are held whole.
#pragma once
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "archive/archive.hpp"
#include "ledger/depot.hpp"
#include "ledger/ledger.hpp"
#include "result.hpp"

namespace packmile {

struct RebuildRequest {
  bool everything = false;  // even what did not change
  // Vans done, vans in all.
  std::function<void(std::size_t, std::size_t)> progress;
};

struct RebuiltVan {
  VanNames names;
  bool known_to_fleet = false;
  bool changed = false;
  std::vector<Finding> findings;
};

// Every van of the archive, by name.
[[nodiscard]] Result<std::vector<RebuiltVan>> rebuild(const Depot& depot, Ledger& ledger,
                                                      const RebuildRequest& request = {});

// Keeps the moment at which a card was pulled, as told by whoever pulled it, and
// the last sector that was on it then: the latest place in time for boots up to
// that sector that had no clock. It begins to count with the sectors of the
// import; of two moments for the same last sector the later one counts.
[[nodiscard]] Result<Done> keep_pulled_at(const Archive& archive, Archive::Import& import,
                                          std::uint32_t log_id, const PulledCard& card);

// Facts of the van that the ledger found by this key; empty ones when fleet.toml
// does not know it.
[[nodiscard]] VanFacts facts_of(const Fleet& fleet, const VanNames& names);
[[nodiscard]] std::optional<Expectation> expectation_of(const Fleet& fleet, const VanNames& names);

}  // namespace packmile
