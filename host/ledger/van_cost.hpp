// The rows of `cost`, and what the account of a van's money needs of the ledger,
// the notes and fleet.toml.
#pragma once
#include <span>
#include <string>
#include <vector>

#include "ledger/fleet.hpp"
#include "ledger/throughput.hpp"
#include "money/cost.hpp"

namespace packmile {

// A van's whole life, priced.
struct VanMoney {
  std::string van;
  VanParts parts;
  VanNotes notes;
  PricedCharges priced;
  std::vector<ValuePoint> values;       // in order of time
  std::vector<OdometerPoint> odometer;  // of the logger, of notes, of the purchase
  OwnedSpan owned;
};
[[nodiscard]] VanMoney van_money(const VanNames& names, VanParts parts, VanNotes notes,
                                 const Fleet& fleet);

// From its purchase in fleet.toml to its sale.
[[nodiscard]] OwnedSpan owned_of(const VanNames& names, const VanNotes& notes, const Fleet& fleet);
// sharing: of every van of fleet.toml, which share a standing charge. Points into van, fleet and
// sharing.
[[nodiscard]] CostInput cost_input(const VanMoney& van, const Fleet& fleet,
                                   std::span<const OwnedSpan> sharing);

// What a mile cost over all vans that have both a sum and a distance in one period.
// How far each is wrong is taken as one: their prices and odometers are alike.
[[nodiscard]] MaybeFigure fleet_cost_per_mile(std::span<const VanCost> costs);

// Charges that only notes tell of, in order of time: source noted, each with its
// cost. Those that are told to be about a heard charge, or may be, are not among
// them.
struct NotedSessions {
  std::vector<ChargeSession> sessions;
  std::vector<SessionCost> costs;  // in the same order
};
[[nodiscard]] NotedSessions noted_sessions(const VanMoney& van, const Fleet& fleet);

[[nodiscard]] std::vector<Column> cost_columns();
[[nodiscard]] Row row_of(const std::string& van, const VanCost& cost, const std::string& currency);

}  // namespace packmile
