// fleet.toml: every mistake at its place, or a fleet that keeps its promises. And
// the lines that import offers for a van whose name and VIN come from a card: they
// can be pasted, whatever the card says. Signals that are taken can be put on a card.
#include <algorithm>
#include <set>
#include <string>
#include <tuple>

#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "ledger/fleet.hpp"
#include "packmile.pb.h"

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

// A card of this van could be prepared: each of its signals as a message is one
// that the same rules take again, and no two share a place.
void check_signals(const Fleet& fleet, std::string_view van) {
  const auto signals = fleet.signals_of(van);
  must(signals.size() <= kMaxOwnersSignals, "a van has no more signals than a card takes");
  std::set<std::string> names;
  std::set<SignalRole> roles;
  std::set<std::tuple<std::uint32_t, std::uint16_t, std::uint32_t>> bits;
  for (std::size_t k = 0; k < signals.size(); ++k) {
    const OwnersDefinition& d = signals[k]->definition;
    OwnersSignal message;
    put_definition(d, k, message);
    must(definition_of(message) == d, "a definition is the same from a card");
    must(message.ByteSizeLong() <= kMaxOwnersMessageBytes, "a message is no longer than it may be");
    must(d.request_id <= 0x7FF || d.request_id >> 16 == 0x18DA, "an ECU is asked by itself");
    must(names.insert(d.name).second, "names are of their own");
    must(d.role == SignalRole::none || roles.insert(d.role).second, "roles are of their own");
    must((code_step_of(d.role) == 0) == (message.code_scale_q16() == 0), "a logger can count");
    for (std::uint32_t bit = d.first_bit; bit < std::uint32_t{d.first_bit} + d.bits; ++bit)
      must(bits.emplace(d.request_id, d.did, data_bit_of(d, bit)).second, "bits are of their own");
  }
}

// Every minute has a price, and a walk over the clocks' change has no hole.
void check_tariffs(const MoneyFacts& money) {
  for (const Tariff& tariff : money.tariffs) {
    must(!tariff.lists.empty(), "a tariff has prices");
    for (const PriceList& list : tariff.lists) {
      int next_min = 0;
      for (const PriceBand& band : list.bands) {
        must(band.from_min == next_min && band.to_min > band.from_min, "bands follow each other");
        must(band.per_kwh >= 0, "a price is not negative");
        next_min = band.to_min;
      }
      must(next_min == kWeekMinutes, "the whole week has a price");
    }
    // The last week of March 2026, UTC.
    const UtcTime from{std::chrono::milliseconds{1'774'224'000'000}};
    UtcTime now = from;
    const UtcTime to = from + std::chrono::days{8};
    for (const PricePiece& piece : price_pieces(tariff, money.zone, from, to)) {
      must(piece.from == now && piece.to > now, "pieces follow each other");
      now = piece.to;
    }
    must(now == to, "and reach the end");
  }
  for (const Place& place : money.places)
    must(place.tariff.empty() || money.tariff_named(place.tariff) != nullptr, "tariffs are there");
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
  check_tariffs(read.fleet.money);
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
    must(!van.purchase || (van.purchase->day.ok() && van.purchase->sum >= 0), "a purchase can be");
    must(!van.annual_km || *van.annual_km > 0, "a use is positive");
    must(!van.plated_weight_kg || *van.plated_weight_kg > 0, "a weight is positive");
    for (const Warranty& promise : van.warranties) {
      must(!promise.name.empty(), "a warranty has a name");
      must(promise.limit_km || (promise.limit_years && promise.from_day), "a warranty ends");
      must(promise.from_km >= 0, "a warranty begins on the odometer");
    }
  }
  must(read.fleet.currency.size() == 3, "a currency has three letters");
  check_signals(read.fleet, "");
  for (const FleetVan& van : read.fleet.vans) check_signals(read.fleet, van.name);
}

}  // namespace packmile::fuzz
