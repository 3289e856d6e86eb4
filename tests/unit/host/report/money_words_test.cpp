#include "report/money_words.hpp"

#include <doctest/doctest.h>

using namespace packmile;
using namespace packmile::report;

namespace {

VanEvidence cost_van(std::string name, double low, double high) {
  VanEvidence van;
  van.names.van = std::move(name);
  van.cost.cost_per_mile = MaybeFigure::known({(low + high) / 2, low, high, 0});
  return van;
}

DepotEvidence cost_depot(std::vector<VanEvidence> vans) {
  DepotEvidence depot;
  depot.words.currency = "GBP";
  depot.vans = std::move(vans);
  return depot;
}

}  // namespace

// No source: the dearest is said only where nothing overlaps it and the sums are alike.
TEST_CASE("money words: the dearest van only where it is told") {
  CHECK(dearest_sentence(cost_depot({cost_van("Ash", 0.2, 0.3), cost_van("Oak", 0.4, 0.5)})) ==
        "Oak was dearest in these 30 days: £0.450 (0.400 to 0.500) a mile.");
  CHECK(dearest_sentence(cost_depot({cost_van("Ash", 0.2, 0.41), cost_van("Oak", 0.4, 0.5)})) ==
        "Which van is dearest cannot be told: the range of Oak overlaps that of Ash.");
  DepotEvidence both = cost_depot({cost_van("Ash", 0.2, 0.3), cost_van("Oak", 0.4, 0.5)});
  both.fleet_cost_per_mile = MaybeFigure::known({0.35, 0.35, 0.35, 0});
  CHECK(dearest_sentence(both).ends_with(" a mile. All 2 together: £0.350 a mile."));
  VanEvidence unlike = cost_van("Ash", 0.2, 0.3);
  unlike.cost.not_included = {{"depreciation", "no value"}};
  CHECK(dearest_sentence(cost_depot({unlike, cost_van("Oak", 0.4, 0.5)})) ==
        "Which van is dearest is not told: what the sum of Ash leaves out is in that of Oak.");
  VanEvidence part = cost_van("Elm", 0.9, 1.0);
  part.cost.short_distance = "its distance is that of 10 of the 30 days";
  CHECK(
      dearest_sentence(cost_depot({cost_van("Ash", 0.2, 0.3), cost_van("Oak", 0.4, 0.5), part})) ==
      "Oak was dearest in these 30 days: £0.450 (0.400 to 0.500) a mile; not known of Elm for "
      "these days.");
  CHECK(dearest_sentence(cost_depot({part})) ==
        "What a mile cost in these 30 days is not known of any van.");
}

// No source: who leaves energy out may be dearer; ranges that touch tell nobody.
TEST_CASE("money words: the dearest by energy alone") {
  const auto van = [](std::string name, double low, double high) {
    VanEvidence out = cost_van(std::move(name), 0.2, 0.9);
    out.cost.energy_cost_per_mile = MaybeFigure::known({(low + high) / 2, low, high, 0});
    return out;
  };
  const VanEvidence ash = van("Ash", 0.10, 0.12), oak = van("Oak", 0.19, 0.21);
  CHECK(dearest_by_energy_sentence(cost_depot({ash, oak})) ==
        "By energy alone Oak was dearest: £0.200 (0.190 to 0.210) a mile.");
  CHECK(dearest_by_energy_sentence(cost_depot({ash, van("Oak", 0.11, 0.21)})).empty());
  VanEvidence partly = van("Elm", 0.15, 0.16);
  partly.cost.not_included = {{"meter_shared", ""}};
  CHECK(dearest_by_energy_sentence(cost_depot({partly, ash, oak})) ==
        "By energy alone Oak was dearest of the 2 of which that is known: £0.200 (0.190 to 0.210) "
        "a mile.");
  CHECK(dearest_by_energy_sentence(cost_depot({partly, oak})).empty());
}

// No source: what the sum leaves out is named; what reads high says so.
TEST_CASE("money words: a cost says what it is without") {
  VanEvidence van = cost_van("Ash", 0.2, 0.3);
  van.cost.not_included = {{"tyres", ""}, {"depreciation", ""}, {"tyres", ""}};
  const DepotEvidence depot = cost_depot({van});
  CHECK(cost_sentence(van, depot) ==
        "£0.250 (0.200 to 0.300) a mile, without tyres and loss in value");
  van.cost.short_distance = "its distance is that of 10 of the 30 days";
  CHECK(cost_sentence(van, depot)
            .ends_with("; it reads high: its distance is that of 10 of the 30 days"));
  van.cost.cost_per_mile = MaybeFigure::unknown("under 100 miles");
  CHECK(cost_sentence(van, depot) == "not known: under 100 miles");
}

// No source: the three inputs that move the price most, the widest first; what the van
// fetches today moves none.
TEST_CASE("money words: keep or sell with its three inputs") {
  VanEvidence van = cost_van("Ash", 0.2, 0.3);
  van.compared.keep.why = "no price is assumed; [[keep]] lacks resale_now";
  Words words;
  words.currency = "GBP";
  CHECK(keep_sentence(van, words).starts_with("not known: no price is assumed"));
  KeepOrSell told;
  told.break_even_price = {11900, 10100, 13800, 0};
  told.selling_is_cheaper = 0.97;
  told.verdict = KeepVerdict::sell;
  told.swings = {{"resale_now", 0, 9000, false},
                 {"repairs_next_year", 13000, 9000, true},
                 {"rate_pct", 11000, 12000, true},
                 {"miles_a_year", 11500, 12000, true},
                 {"resale_next_year", 11800, 12000, true}};
  van.compared.keep.told = told;
  CHECK(keep_sentence(van, words) ==
        "worth keeping a year below £11,900 (10,100 to 13,800): selling is cheaper (in 97 of 100 "
        "draws); moved most by next year's repairs (9,000 to 13,000), the rate of interest (11,000 "
        "to 12,000) and miles a year (11,500 to 12,000)");
}

// No source: a difference is more or less only where it is decided.
TEST_CASE("money words: energy against the others") {
  VanEvidence van = cost_van("Ash", 0.2, 0.3);
  van.compared.difference_kwh_per_mile = MaybeFigure::known({-0.05, -0.07, -0.03, 0});
  Words words;
  CHECK(energy_sentence(van, 5, words) ==
        "At the same speed, stops and temperature it differs from the mean of the other vans by "
        "-0.050 (-0.070 to -0.030) kWh a mile, which may be chance.");
  van.compared.energy_decided = true;
  CHECK(energy_sentence(van, 2, words) ==
        "At the same speed, stops and temperature it takes 0.050 (0.030 to 0.070) kWh a mile less "
        "than the other van.");
}
