// What a van cost in a period, and by the mile.
//
// Input     its priced charges, what people noted, and what the owner says is paid
//           by the year.
// Method    what has a day counts in the period that holds the day; what is paid by
//           time counts by local days, so that parts of a period add up to it. A
//           cost per mile divides by the distance between the first and the last
//           odometer reading inside the period, or where there are not two by the
//           trips that were measured; it is never stretched to the period's ends.
// Rule      what nobody has told is not nought: it is left out and named.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "money/meter_stretches.hpp"
#include "money/session_cost.hpp"

namespace packmile {

// Insurance, road tax, finance: paid whether the van moves or not.
struct FixedCost {
  std::string name;
  double per_year = 0;
  std::vector<std::string> vans;    // empty: every van, each this much
  std::optional<UtcTime> from, to;  // absent: without that end
};

// What the van was worth; between two of them in a straight line.
struct ValuePoint {
  UtcTime at;
  double sum = 0;
  double u = 0;       // 1 sd: an opinion has one, a price that was paid has none
  bool sold = false;  // nothing is lost any more
};

// A valuation is an opinion: a tenth of it either way (from memory).
inline constexpr double kValuationShare = 0.1;

struct OdometerPoint {
  NoteTime when;
  double km = 0;
  double step_km = 0.1;  // of service 01, $A6, where it is the logger's
};

// Absent: without that end.
struct OwnedSpan {
  std::optional<UtcTime> from, to;
};

struct CostInput {
  std::string van;
  std::optional<double> nominal_kwh;
  std::span<const ChargeSession> sessions;
  std::span<const Trip> trips;
  std::span<const Stand> stands;
  const PricedCharges* priced = nullptr;  // of the sessions
  const VanNotes* notes = nullptr;
  std::vector<OdometerPoint> odometer;  // of the logger and of notes, in any order
  std::vector<ValuePoint> values;       // in order of time
  const MoneyFacts* money = nullptr;
  std::span<const FixedCost> fixed;
  std::optional<double> labour_rate;  // of an hour
  // Absent: not told, and what is paid by the year is paid all the time.
  std::optional<UtcTime> owned_from, owned_to;
  // When each van that shares a standing charge was owned, this one among them; empty:
  // it is none of them.
  std::span<const OwnedSpan> sharing;
};

// What is in no sum: its word, and why or how to find out.
struct LeftOut {
  std::string word, why;
};

struct VanCost {
  UtcTime from, to;
  MaybeFigure distance_km;
  std::optional<UtcTime> distance_from, distance_to;  // of the readings that it is between
  MaybeFigure energy_cost, tyres_cost, parts_cost, labour_cost, fixed_cost, depreciation_cost;
  MaybeFigure hire_cost;  // in place of the van, as the off_road notes say
  MaybeFigure lost_days;
  MaybeFigure total_cost;
  MaybeFigure cost_per_mile, cost_per_mile_without_depreciation, energy_cost_per_mile;
  // At the socket: as noted, or worked out from the pack.
  MaybeFigure grid_kwh, grid_kwh_per_mile;
  // Parts of energy_cost: what the charger and its post lost, and what the van took
  // standing.
  MaybeFigure charger_loss_cost, standing_cost;
  // What is not in total_cost, or not all of it: energy, charges_without_cost,
  // meter_shared, meter_without_price, meter_renewed, tyres, parts, labour, off_road,
  // hire, fixed, depreciation.
  std::vector<LeftOut> not_included;
  // The distance is of a part of what the sums are of, and a cost by the mile reads
  // high; and what to do. Empty: it is not.
  std::string short_distance, short_distance_cure;
  std::size_t unsure_sessions = 0;  // may or may not belong to the period
};

// A distance of fewer of the period's days is said to be short.
inline constexpr double kLeastShareDriven = 0.9;
// No cost per mile is told where more of the charges have no cost.
inline constexpr double kMostWithoutCost = 0.1;
// No cost per mile is told from less.
inline constexpr double kLeastMiles = 100;
// What was in the pack at either end weighs less than this long (design: a month).
inline constexpr double kLeastMeterDays = 28;

[[nodiscard]] VanCost cost_of(const CostInput& input, UtcTime from, UtcTime to);

// What leaves most of cost_per_mile open, and how to have it narrower.
[[nodiscard]] std::string narrower_by(const VanCost& cost);

// What the van lost of its worth between two moments, in a straight line between two
// points; the interval also holds what it lost if each year took the same share of what
// was left (IAS 16, 62, from memory: straight line and diminishing balance). Behind the
// last point it goes on for a year at most, by the last half year or more that is known:
// two opinions of one week tell no pace.
[[nodiscard]] MaybeFigure depreciation(std::span<const ValuePoint> values, const Zone& zone,
                                       UtcTime from, UtcTime to);

// 1 sd of what is in the pack at either end of a stretch, of its nominal energy.
inline constexpr double kFillShare = 0.1;

// kWh at the meter by the mile: what was in the pack at either end is known to
// fill_share of it.
[[nodiscard]] Figure meter_kwh_per_mile(const Figure& kwh, const Figure& km, double nominal_kwh,
                                        double fill_share = kFillShare);

}  // namespace packmile
