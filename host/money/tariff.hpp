// A tariff: what a kWh costs, by the clock and the day of the week.
//
// Method    a stretch of time is cut wherever the price may change, as UTC
//           instants of each local day: an hour that the clocks skip has no
//           length, an hour that they repeat has its price twice. A tariff
//           whose supplier reckons in UTC is not moved by the clocks.
// Units     the depot's currency; VAT as the owner enters it: nothing is added.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "calendar/zone.hpp"
#include "energy/van_account.hpp"
#include "figure.hpp"

namespace packmile {

inline constexpr int kDayMinutes = 24 * 60;
inline constexpr int kWeekMinutes = 7 * kDayMinutes;

// Minutes of the week, from Monday 00:00 of the tariff's clock; from < to.
struct PriceBand {
  int from_min = 0;
  int to_min = kWeekMinutes;
  double per_kwh = 0;
};

// What holds from a day until the next list of the same tariff.
struct PriceList {
  std::optional<UtcTime> valid_from;  // first instant; absent: from the beginning
  std::vector<PriceBand> bands;       // in order, without gap or overlap over the week
  double per_session = 0;
  double per_minute = 0;  // plugged in, as far as it is known: of the session
  double standing_per_day = 0;
};

struct Tariff {
  std::string name;
  bool utc_clock = false;        // its bands are in UTC, not in the depot's zone
  std::vector<PriceList> lists;  // by valid_from; at least one
};

// The list that holds then; nullptr: none yet.
[[nodiscard]] const PriceList* list_at(const Tariff& tariff, UtcTime at);

struct PricePiece {
  UtcTime from, to;
  std::optional<double> per_kwh;  // absent: no list holds yet
};
// [from, to) without a gap. Bounded by the caller: a few pieces a day.
[[nodiscard]] std::vector<PricePiece> price_pieces(const Tariff& tariff, const Zone& zone,
                                                   UtcTime from, UtcTime to);

struct PriceRange {
  double low = 0, mean = 0, high = 0;  // per kWh
};
// Cheapest, mean over time and dearest in [from, to]; absent: somewhere in it no
// list holds. A stretch of more than a week is taken by whole weeks of its lists.
[[nodiscard]] std::optional<PriceRange> price_range(const Tariff& tariff, const Zone& zone,
                                                    UtcTime from, UtcTime to);

// Mean price of energy that comes as the curve says, from `start` on; absent: a
// list is missing somewhere, or the curve has no energy.
[[nodiscard]] std::optional<double> mean_price(const Tariff& tariff, const Zone& zone,
                                               const std::vector<CurvePoint>& curve, UtcTime start);
// Its least and greatest value for starts in [earliest, latest], exactly: between
// the moments at which a corner of the curve meets a change of price it moves along
// a straight line.
[[nodiscard]] std::optional<PriceRange> mean_price_within(const Tariff& tariff, const Zone& zone,
                                                          const std::vector<CurvePoint>& curve,
                                                          UtcTime start, UtcTime earliest,
                                                          UtcTime latest);

}  // namespace packmile
