// fleet.toml: the slow facts that only the owner knows.
//
// Input     TOML 1.0; every key is in the tables of fleet.cpp and
//           fleet_signals.cpp, and a key that is not there is refused, so that a
//           mistyped one is never ignored.
// Output    Fleet, or every mistake of the file at once, in order of lines.
#pragma once
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "card/owners_definition.hpp"
#include "energy/van_account.hpp"
#include "ledger/zone.hpp"
#include "result.hpp"

namespace packmile {

struct FleetVan {
  std::string name;  // as it stands in every row
  std::string vin;   // 17 characters; empty: not given
  VanFacts facts;
};

// One [[signal]]: what `card prepare` puts on the cards of its vans.
struct FleetSignal {
  OwnersDefinition definition;
  std::vector<std::string> vans;  // names; empty: every van of the depot
  std::string where;              // file:line:column
};

struct Fleet {
  Zone zone;
  std::string currency;  // ISO 4217 code; XXX: none was given
  std::vector<FleetVan> vans;
  std::vector<FleetSignal> signals;  // in order of the file
  // What looks wrong and is allowed, as file:line:column: text.
  std::vector<std::string> warnings;

  [[nodiscard]] const FleetVan* van_of_vin(std::string_view vin) const;    // nullptr: none
  [[nodiscard]] const FleetVan* van_of_name(std::string_view name) const;  // nullptr: none
  // Those that a van's card gets, in order of the file. A van that is not known
  // has those of every van.
  [[nodiscard]] std::vector<const FleetSignal*> signals_of(std::string_view van) const;
};

struct FleetRead {
  Fleet fleet;                // whole only when there is no error
  std::vector<Error> errors;  // sorted by line, then column
};

// `where` is the name that stands in front of the messages.
[[nodiscard]] FleetRead parse_fleet(std::string_view text, const std::string& where);
[[nodiscard]] FleetRead read_fleet(const std::filesystem::path& file);

// A fleet.toml with a comment on every key and one van commented out.
[[nodiscard]] std::string fleet_template(std::string_view zone, std::string_view currency);
// The lines to paste for a van that fleet.toml does not know yet.
[[nodiscard]] std::string van_lines(std::string_view name, std::string_view vin);

}  // namespace packmile
