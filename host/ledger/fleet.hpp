// fleet.toml: the slow facts that only the owner knows.
//
// Input     TOML 1.0; every key is in the tables of fleet*.cpp, and a key that is
//           not there is refused, so that a mistyped one is never ignored.
// Output    Fleet, or every mistake of the file at once, in order of lines.
#pragma once
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "card/owners_definition.hpp"
#include "energy/van_account.hpp"
#include "money/cost.hpp"
#include "calendar/zone.hpp"
#include "result.hpp"

namespace packmile {

// The owner's expectation of the pack: percent of the new capacity that is left
// at a distance or an age. Straight between the points; 100 at 0 where the first
// point is further out; nothing is expected behind the last.
struct ExpectationPoint {
  double at = 0;       // km by the odometer, or years since the van was new; from 0
  double percent = 0;  // above 0, at most 100
};
struct Expectation {
  enum class Against : std::uint8_t { odometer_km, age_years };
  Against against = Against::odometer_km;
  std::vector<ExpectationPoint> points;  // `at` rises, percent never does; at least one
};

struct Purchase {
  std::chrono::year_month_day day;
  double sum = 0;                     // the depot's currency; from 0
  std::optional<double> odometer_km;  // on that day
};

// A promise of the maker or the seller, and where it ends: whichever comes first.
struct Warranty {
  std::string name;                   // of its own within the van
  std::optional<double> limit_km;     // from from_km on
  std::optional<double> limit_years;  // with it there is a from_day
  std::optional<std::chrono::year_month_day> from_day;
  double from_km = 0;  // what the odometer had when it began
};

struct FleetVan {
  std::string name;  // as it stands in every row
  std::string vin;   // 17 characters; empty: not given
  VanFacts facts;
  std::optional<Expectation> expectation;
  std::optional<Purchase> purchase;
  std::vector<Warranty> warranties;
  std::optional<double> annual_km;          // what the owner expects it to drive in a year
  std::optional<double> plated_weight_kg;   // greatest weight allowed
  std::optional<double> unladen_weight_kg;  // empty, with its driver or without
};

// One [[signal]]: what `card prepare` puts on the cards of its vans.
struct FleetSignal {
  OwnersDefinition definition;
  std::vector<std::string> vans;  // names; empty: every van of the depot
  std::string where;              // file:line:column
};

// What the hours and the energy of a part are counted of.
enum class PartCounter : std::uint8_t { motor, charger, pack };
enum class PartGauge : std::uint8_t { none, tread, pad };
// One [[part]]: what wears out, by what, and where its life ends. The rule that
// comes first decides.
struct FleetPart {
  std::string name;
  std::vector<std::string> positions;  // fl fr rl rr front rear; empty: none of its own
  std::vector<std::string> vans;       // names; empty: every van of the depot
  std::optional<double> limit_km, limit_hours, limit_starts, limit_kwh;
  std::optional<int> limit_months;
  PartGauge gauge = PartGauge::none;
  std::optional<double> least_mm;  // where it is planned to be renewed
  PartCounter counts = PartCounter::motor;
  std::optional<std::chrono::local_days> fitted;
  std::optional<double> fitted_km;  // odometer on that day
};

// Low, likely and high, as somebody who buys and sells vans would say them; risen.
struct OwnersRange {
  double low = 0, likely = 0, high = 0;
};
enum class RateKind : std::uint8_t { nominal, real };
// One [[keep]]: what keeping a van or buying another one hangs on. There are no
// defaults: money is never guessed.
struct FleetKeep {
  std::vector<std::string> vans;  // names; empty: every van of the depot
  std::optional<OwnersRange> challenger_price, challenger_resale, challenger_repairs;
  std::optional<OwnersRange> challenger_lost_days;
  std::optional<int> challenger_years;
  std::optional<OwnersRange> resale_now, resale_next_year, repairs_next_year;
  std::optional<OwnersRange> lost_days_next_year;
  // Year by year, in place of those above; empty: not told so.
  std::vector<OwnersRange> challenger_resale_by_year, challenger_repairs_by_year;
  std::vector<OwnersRange> resale_by_year, repairs_by_year;
  std::optional<double> hire_per_lost_day;
  std::optional<OwnersRange> cost_per_km, challenger_cost_per_km;  // energy and the like
  std::optional<OwnersRange> km_per_year;
  std::optional<double> rate_pct;
  std::optional<RateKind> rate_kind;
};

struct Fleet {
  Zone zone;
  std::string currency;  // ISO 4217 code; XXX: none was given
  std::vector<FleetVan> vans;
  std::vector<FleetSignal> signals;  // in order of the file
  std::vector<FleetPart> parts;      // in order of the file
  std::vector<FleetKeep> keeps;      // in order of the file
  MoneyFacts money;                  // tariffs, places, the depot's counter
  std::vector<FixedCost> fixed_costs;
  std::optional<double> labour_rate;  // of an hour of one's own work
  // What looks wrong and is allowed, as file:line:column: text.
  std::vector<std::string> warnings;

  [[nodiscard]] const FleetVan* van_of_vin(std::string_view vin) const;    // nullptr: none
  [[nodiscard]] const FleetVan* van_of_name(std::string_view name) const;  // nullptr: none
  // Those that a van's card gets, in order of the file. A van that is not known
  // has those of every van.
  [[nodiscard]] std::vector<const FleetSignal*> signals_of(std::string_view van) const;
  // Those of a van, in order of the file.
  [[nodiscard]] std::vector<const FleetPart*> parts_of(std::string_view van) const;
  // What its own [[keep]] says; where that is silent, the one of every van.
  [[nodiscard]] FleetKeep keep_of(std::string_view van) const;
};

struct FleetRead {
  Fleet fleet;                // whole only when there is no error
  std::vector<Error> errors;  // sorted by line, then column
};

// `where` is the name that stands in front of the messages.
[[nodiscard]] FleetRead parse_fleet(std::string_view text, const std::string& where);
[[nodiscard]] FleetRead read_fleet(const std::filesystem::path& file);

// A fleet.toml with a comment on every key and one van commented out.
[[nodiscard]] std::string fleet_template(std::string_view zone, std::string_view currency);
// The lines to paste for a van that fleet.toml does not know yet.
[[nodiscard]] std::string van_lines(std::string_view name, std::string_view vin);

}  // namespace packmile
