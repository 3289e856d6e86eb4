// What the report tells from: plain values that the ledger's functions gave, of one
// depot at one moment.
//
// Rule      nothing is worked out here, nor in any other file of the room: a figure
//           that is missing belongs into the room where its like is.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "energy/energy_per_mile.hpp"
#include "ledger/charge_sums.hpp"
#include "ledger/compare.hpp"
#include "ledger/mile_bands.hpp"
#include "ledger/pack_rows.hpp"
#include "ledger/seen_days.hpp"
#include "ledger/upkeep.hpp"
#include "ledger/van_cost.hpp"
#include "report/words.hpp"

namespace packmile::report {

// The stretch that page one tells costs of, and what is due within.
inline constexpr std::chrono::days kSoonDays{30};
inline constexpr double kSoonMiles = 1'000;
// A van's page goes back so many whole months before this one.
inline constexpr int kMonthsBack = 12;

struct VanEvidence {
  VanNames names;
  bool heard = false;  // the archive has records of it
  VanMoney money;
  std::vector<PricedCharge> charges;           // of its whole life
  VanCost cost;                                // of the last kSoonDays
  std::optional<DistanceOfPart> cost_of_part;  // its distance is not of all of them
  // Its odometer was not read twice in them: the cost is of the longer stretch since
  // the reading before, and stands beside those of the others, not among them.
  bool cost_of_longer = false;
  VanCost cost_of_period;  // of the pages' period
  ComparedVan compared;    // over the whole record
  MileVan studied;
  VanUpkeep upkeep;
  std::optional<double> km_per_day;   // by its own use of late
  std::vector<CapacityRow> capacity;  // never empty
  FadeSource fade_source;
  std::vector<FadeRow> fade;
  std::vector<ExpectedAh> expected;
  // Of the pages' period.
  Throughput through;
  std::vector<MonthThroughput> months;
  std::vector<MileBand> bands;
  std::vector<ChargeSum> by_place, by_month;
  ChargeHours hours;
  std::vector<SeenDay> days;
  std::vector<Verdict> verdicts;
  std::vector<CardUse> cards;
};

struct DepotEvidence {
  Zone zone;
  Words words;
  std::string program;     // "packmile 0.1.0"
  std::string as_of_text;  // "2026-02-04 (the last moment in archive and notes)"
  UtcTime soon_from{};     // of the last kSoonDays; they end with today
  UtcTime from{}, to{};    // the pages' period
  std::vector<VanEvidence> vans;
  MaybeFigure fleet_cost_per_mile;  // of the last kSoonDays
};

}  // namespace packmile::report
