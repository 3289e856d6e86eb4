// A van's charges, priced, and added up by place, by month and by the hour at which
// they began.
//
// Input     the van's whole life, priced (van_cost.hpp).
// Output    sums in order of place, month or hour.
// Rule      what is not known is in no sum, and counted beside it. A charge of which
//           nobody knows where it was has the empty place.
#pragma once
#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "ledger/van_cost.hpp"

namespace packmile {

struct PricedCharge {
  ChargeSession session;
  SessionCost cost;
};
// What was heard and what only notes tell of, in order of start.
[[nodiscard]] std::vector<PricedCharge> priced_charges(const VanMoney& van, const Fleet& fleet);

struct ChargeSum {
  std::string place;  // empty: not known
  std::string month;  // "2026-03", local; empty: of all months
  std::size_t charges = 0;
  std::size_t without_kwh = 0, without_cost = 0;  // of them
  MaybeFigure grid_kwh;                           // at the socket
  MaybeFigure cost;                               // the depot's currency
  // Of the charges that have both. Both intervals hold the same energy's, so that
  // low is by low and high by high.
  MaybeFigure cost_per_kwh;
};
// Of those that start in the period; largest energy first.
[[nodiscard]] std::vector<ChargeSum> sums_by_place(const std::vector<PricedCharge>& charges,
                                                   const Period& period);
// By month, then place.
[[nodiscard]] std::vector<ChargeSum> sums_by_month(const std::vector<PricedCharge>& charges,
                                                   const Period& period, const Zone& zone);

// How many began in each hour of the local clock; those of which it is not sure to
// ten minutes when that was are beside.
struct ChargeHours {
  std::array<std::size_t, 24> begun{};
  std::size_t unsure = 0;
};
[[nodiscard]] ChargeHours charge_hours(const std::vector<PricedCharge>& charges,
                                       const Period& period, const Zone& zone);

}  // namespace packmile
