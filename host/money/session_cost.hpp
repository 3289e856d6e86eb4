// Where each charge of a van was, what it drew and what it cost.
//
// Input     the van's sessions and trips in order of start, its notes, and what the
//           owner says of tariffs and places.
// Method    a receipt that is told to be of the session: what was paid is the cost.
//           Else the energy at the socket, by the noted counter or by the charger's
//           usual loss, spread over time as the pack took it, times the tariff of
//           the place, with fees. low..high hold the energy's interval, every moment
//           at which it may have been, and where the place is not known every tariff.
// Rule      an unseen charge may have come at any time of its silence.
#pragma once
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "energy/noted_charges.hpp"
#include "money/place.hpp"
#include "notes/van_notes.hpp"

namespace packmile {

struct SessionCost {
  std::string place;      // empty: not known
  std::string place_why;  // why not
  PlaceSource source = PlaceSource::unknown;
  MaybeFigure cost;      // the depot's currency
  MaybeFigure grid_kwh;  // by the note where there is one; else as in the session,
                         // or between what the two kinds of charging would draw
  // The note that it is told to be about.
  std::optional<std::uint32_t> receipt, meter;
};

struct PricedCharges {
  std::vector<SessionCost> sessions;  // in the order of the sessions
  std::vector<NotedCharge> noted;     // what the notes of kWh are about
};

[[nodiscard]] PricedCharges price_charges(std::span<const ChargeSession> sessions,
                                          std::span<const Trip> trips, const VanNotes& notes,
                                          const MoneyFacts& facts,
                                          const std::function<std::string(UtcTime)>& time_text);

}  // namespace packmile
