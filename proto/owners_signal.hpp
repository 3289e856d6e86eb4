// Signals that the owner of a van has defined: limits that the program which
// prepares a card and the logger which obeys it share.
//
// Standard  packmile.OwnersSignal in packmile.proto; ISO 14229-1 service 22.
// Pure      constants and one function; no heap, no I/O.
#pragma once
#include <cstddef>
#include <cstdint>

#include "catalogue/catalogue.hpp"

namespace packmile {

// All of them must also fit into the settings sector beside the rest.
inline constexpr std::size_t kMaxOwnersSignals = 16;
inline constexpr std::size_t kMaxOwnersNameBytes = 24;
inline constexpr std::size_t kMaxOwnersUnitBytes = 12;
// Where a word may end: the logger takes messages of up to 160 bytes, of which
// three are 62 and the identifier.
inline constexpr std::size_t kMaxOwnersDataBytes = 157;
// Of a definition as a protobuf message, its frame aside.
inline constexpr std::size_t kMaxOwnersMessageBytes = 108;
inline constexpr std::uint32_t kMinOwnersPeriodMs = 100;
inline constexpr std::uint32_t kMaxOwnersPeriodMs = 60'000;

// Numbers as in packmile.Role.
enum class SignalRole : std::uint8_t {
  none = 0,
  pack_v = 1,
  pack_a = 2,
  soc = 3,
  odometer = 4,
  speed = 5,
  pack_temp = 6,
  charger_state = 7,
  reported_capacity = 8
};
inline constexpr SignalRole kLastRole = SignalRole::reported_capacity;

// The standard signal whose place an owner's signal of this role takes;
// signal::none: there is none.
[[nodiscard]] constexpr SignalId standard_signal_of(SignalRole role) {
  switch (role) {
    case SignalRole::pack_v:
      return signal::pack_v;
    case SignalRole::pack_a:
      return signal::pack_a;
    case SignalRole::soc:
      return signal::soc_pct;
    case SignalRole::odometer:
      return signal::odometer_km;
    case SignalRole::speed:
      return signal::speed_kmh;
    case SignalRole::none:
    case SignalRole::pack_temp:
    case SignalRole::charger_state:
    case SignalRole::reported_capacity:
      return signal::none;
  }
  return signal::none;
}

}  // namespace packmile
