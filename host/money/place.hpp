// Where vans charge, and how a charge is known to have been there.
//
// Rule      a note says so, or the owner's rule for the place is taken for true and
//           called assumed. Two rules that fit the same charge decide nothing.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calendar/zone.hpp"
#include "energy/van_account.hpp"
#include "money/tariff.hpp"

namespace packmile {

enum class PlaceKind : std::uint8_t { depot, public_post };
enum class PlaceSource : std::uint8_t { noted, assumed, unknown };
[[nodiscard]] std::string_view word_of(PlaceKind kind);
[[nodiscard]] std::string_view word_of(PlaceSource source);

// Hours of the local day in which a charge begins; to <= from: over midnight, and
// then the days are those on which it begins.
struct PlaceHours {
  int from_min = 0;
  int to_min = kDayMinutes;
  std::uint8_t days = 0x7F;  // bit 0: Monday
};

struct Place {
  std::string name;
  PlaceKind kind = PlaceKind::depot;
  std::string tariff;  // empty: only receipts tell what was paid
  std::optional<PlaceHours> hours;
  // Driven since the charge before; absent: no such rule.
  std::optional<double> driven_from_km, driven_to_km;

  [[nodiscard]] bool has_rule() const { return hours || driven_from_km || driven_to_km; }
};

// The depot's own counter.
struct DepotMeter {
  std::string place;              // empty: the only depot there is
  std::vector<std::string> vans;  // whose charges go through it; empty: any
  double error_pct = 1;           // greatest, of what it counts
};

// What the owner says of prices and places (fleet.toml).
struct MoneyFacts {
  Zone zone;
  std::vector<Tariff> tariffs;
  std::vector<Place> places;
  std::optional<DepotMeter> meter;

  [[nodiscard]] const Tariff* tariff_named(std::string_view name) const;  // nullptr: none
  [[nodiscard]] const Place* place_named(std::string_view name) const;    // nullptr: none
  // Of the depot's meter; nullptr: not told, or several depots.
  [[nodiscard]] const Place* metered_place() const;
};

// Some minute of the local day is in the hours.
[[nodiscard]] bool holds(const PlaceHours& hours, const Zone& zone, UtcTime at);

// Time that a moment may have been: never longer than `most` before it says nothing.
[[nodiscard]] bool surely_holds(const PlaceHours& hours, const Zone& zone, UtcTime at,
                                const TimeDoubt& doubt);

// Prices between two moments. The hours of a place are those in which a charge begins:
// its energy may come behind them, at any price; the mean is that of the hours.
[[nodiscard]] std::optional<PriceRange> price_range(const Tariff& tariff, const Place& place,
                                                    const Zone& zone, UtcTime from, UtcTime to);

}  // namespace packmile
