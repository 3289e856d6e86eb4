#include "ledger/charge_sums.hpp"

#include <doctest/doctest.h>

using namespace packmile;

namespace {

UtcTime sum_time(const char* text) { return Zone::find("UTC").value().read(text).value(); }

PricedCharge priced(const char* start, std::string place, double kwh, double cost) {
  PricedCharge out;
  out.session.start = sum_time(start);
  out.cost.place = std::move(place);
  out.cost.grid_kwh = MaybeFigure::known({kwh, kwh * 0.9, kwh * 1.1, 0});
  out.cost.cost = MaybeFigure::known({cost, cost * 0.9, cost * 1.1, 0});
  return out;
}

}  // namespace

// Source: arithmetic by hand: 30 kWh at 0.20 and 10 at 0.60; a price by tariff has no
// interval of its own, since cost and energy are off together.
TEST_CASE("charge sums: by place, the largest first") {
  PricedCharge unknown = priced("2026-03-04T10:00:00Z", "", 5, 1);
  unknown.cost.cost = MaybeFigure::unknown("nobody knows where");
  const std::vector<PricedCharge> charges{priced("2026-03-01T10:00:00Z", "Post", 10, 6),
                                          priced("2026-03-02T10:00:00Z", "Yard", 12, 2.4),
                                          priced("2026-03-03T10:00:00Z", "Yard", 18, 3.6), unknown,
                                          priced("2026-04-03T10:00:00Z", "Yard", 100, 20)};
  const Period march{sum_time("2026-03-01"), sum_time("2026-04-01")};
  const auto sums = sums_by_place(charges, march);
  REQUIRE(sums.size() == 3);
  CHECK(sums[0].place == "Yard");
  CHECK(sums[0].charges == 2);
  CHECK(sums[0].grid_kwh.figure->value == doctest::Approx(30));
  CHECK(sums[0].cost_per_kwh.figure->value == doctest::Approx(0.2));
  CHECK(sums[0].cost_per_kwh.figure->low == doctest::Approx(0.2));
  CHECK(sums[0].cost_per_kwh.figure->high == doctest::Approx(0.2));
  CHECK(sums[1].cost_per_kwh.figure->value == doctest::Approx(0.6));
  CHECK(sums[2].place.empty());
  CHECK(sums[2].without_cost == 1);
  CHECK_FALSE(sums[2].cost_per_kwh.figure);
}

// Source: IANA: Europe/London is an hour ahead of UTC from 29 March 2026, 01:00 UTC.
TEST_CASE("charge sums: months and hours are those of the fleet's clock") {
  const Zone london = Zone::find("Europe/London").value();
  PricedCharge unsure = priced("2026-03-20T10:00:00Z", "Yard", 1, 1);
  unsure.session.start_doubt = {3'600'000, 3'600'000};
  const std::vector<PricedCharge> charges{priced("2026-03-10T22:30:00Z", "Yard", 1, 1),
                                          priced("2026-03-31T22:30:00Z", "Yard", 1, 1),
                                          priced("2026-03-31T23:30:00Z", "Yard", 1, 1), unsure};
  const auto months = sums_by_month(charges, {}, london);
  REQUIRE(months.size() == 2);
  CHECK(months[0].month == "2026-03");
  CHECK(months[0].charges == 3);
  CHECK(months[1].month == "2026-04");
  const ChargeHours hours = charge_hours(charges, {}, london);
  CHECK(hours.begun[22] == 1);
  CHECK(hours.begun[23] == 1);
  CHECK(hours.begun[0] == 1);
  CHECK(hours.unsure == 1);
}
