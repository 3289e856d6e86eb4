// fleet.toml: every mistake at its place, or a fleet that keeps its promises.
#include <algorithm>
#include <set>
#include <string>

#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "ledger/fleet.hpp"

namespace packmile::fuzz {

void try_fleet(Input input) {
  const std::string_view text(reinterpret_cast<const char*>(input.data()), input.size());
  const FleetRead read = parse_fleet(text, "fleet.toml");
  for (const Error& error : read.errors) {
    must(!error.what.empty(), "an error says what is wrong");
    must(error.where.starts_with("fleet.toml"), "an error names the file");
  }
  if (!read.errors.empty()) return;
  std::set<std::string> names;
  std::set<std::string> vins;
  for (const FleetVan& van : read.fleet.vans) {
    must(!van.name.empty() && names.insert(van.name).second, "vans have names of their own");
    must(van.vin.empty() || van.vin.size() == 17, "a VIN has 17 characters");
    must(van.vin.empty() || vins.insert(van.vin).second, "vans have VINs of their own");
    must(read.fleet.van_of_name(van.name) == &van, "a van is found by its name");
    for (const auto& fact :
         {van.facts.nominal_kwh, van.facts.nominal_ah, van.facts.onboard_charger_kw})
      must(!fact || *fact > 0, "facts are positive");
  }
  must(read.fleet.currency.size() == 3, "a currency has three letters");
}

}  // namespace packmile::fuzz
