#include "money/counter_cost.hpp"

#include <doctest/doctest.h>

#include "unit/host/money/cost_van.hpp"

using namespace packmile;
using namespace std::chrono;
using doctest::Approx;

namespace {

// Two silent vans on one counter: one of them has its month's reading, both their
// odometers.
//   counter   18240.5 -> 19105.0 kWh                     = 864.5 kWh
//   receipts  21.3 kWh, 14.70, away from the yard        = 885.8 kWh in all
//   odometers 3840 km and 1160 km: 5000 km               = 3106.856 miles
//   energy    864.5 * 0.084 + 14.70                      = 87.318
//   by the mile 885.8 / 3106.856                         = 0.285112 kWh
//               87.318 / 3106.856                        = 0.028105
struct Pair {
  CostVan rowan = silent(), alder = silent();
  PricedCharges rowan_priced, alder_priced;

  Pair() {
    for (CostVan* van : {&rowan, &alder}) van->money.meter->vans = {"rowan", "alder"};
    alder.notes.meter.clear();
    alder.notes.receipts.clear();
    alder.notes.odometer[1].km = alder.notes.odometer[0].km + 1160;
  }
  CounterCost cost() {
    std::vector<CostInput> inputs{rowan.input(rowan_priced), alder.input(alder_priced)};
    inputs[1].van = "alder";
    return counter_cost_of(inputs, at("2026-03-01"), at("2026-04-01")).value();
  }
};

}  // namespace

TEST_CASE("vans of one counter have a figure together") {
  Pair pair;
  const CounterCost cost = pair.cost();
  CHECK(cost.vans == std::vector<std::string>{"rowan", "alder"});
  CHECK(cost.place == "yard");
  CHECK(cost.grid_kwh.figure->value == Approx(885.8));
  CHECK(cost.energy_cost.figure->value == Approx(87.318));
  CHECK(cost.grid_kwh_per_mile.figure->value == Approx(0.285112).epsilon(1e-5));
  CHECK(cost.energy_cost_per_mile.figure->value == Approx(0.028105).epsilon(1e-4));
  // Two packs of 60 kWh at either end: 2 * 6 kWh of 1 sd, and 1 % of the counter.
  const double u = std::hypot(12 / 885.8, 0.01 / std::sqrt(3.0), 0.0075);
  CHECK((cost.grid_kwh_per_mile.figure->high - cost.grid_kwh_per_mile.figure->value) / kZ95 ==
        Approx(u * 0.285112).epsilon(0.3));
}

TEST_CASE("a heard van of the counter has its charges in it, once") {
  Pair pair;
  for (int day = 0; day < 10; ++day)
    pair.alder.sessions.push_back(session(at("2026-03-02") + hours{24 * day + 19}, 7, 3));
  CHECK(pair.cost().grid_kwh.figure->value == Approx(885.8));
}

TEST_CASE("without the distance of each there is none of all") {
  Pair pair;
  pair.alder.notes.odometer.pop_back();
  const CounterCost cost = pair.cost();
  CHECK_FALSE(cost.grid_kwh_per_mile.figure);
  CHECK(cost.grid_kwh_per_mile.why.find("alder: there are no two odometer readings") == 0);
  CHECK(cost.grid_kwh.figure);
}
