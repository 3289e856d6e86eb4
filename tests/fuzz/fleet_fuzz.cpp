// fleet.toml: every mistake at its place, or a fleet that keeps its promises. And
// the lines that import offers for a van whose name and VIN come from a card: they
// can be pasted, whatever the card says.
#include <algorithm>
#include <set>
#include <string>

#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "ledger/fleet.hpp"

namespace packmile::fuzz {

namespace {

// Only the name or the VIN itself may be complained of; never how they stand there.
void check_lines(std::string_view text) {
  const std::size_t half = text.size() / 2;
  const FleetRead read = parse_fleet(
      fleet_template("UTC", "XXX") + van_lines(text.substr(0, half), text.substr(half)), "pasted");
  for (const Error& error : read.errors)
    must(error.what.starts_with("name ") || error.what.starts_with("vin "),
         "lines for a van can be pasted");
  if (read.errors.empty()) must(read.fleet.vans.size() == 1, "and are one van");
}

}  // namespace

void try_fleet(Input input) {
  const std::string_view text(reinterpret_cast<const char*>(input.data()), input.size());
  check_lines(text.substr(0, 120));
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
