#include "money/cost.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include <random>

#include "unit/host/money/cost_van.hpp"

using namespace packmile;
using namespace std::chrono;
using doctest::Approx;

TEST_CASE("a silent van: notes, a receipt and the meter give the cost per mile") {
  const VanCost cost = silent().cost("2026-03-01", "2026-04-01");
  CHECK(cost.distance_km.figure->value == Approx(3840));
  CHECK(cost.energy_cost.figure->value == Approx(87.318));
  CHECK(cost.tyres_cost.figure->value == Approx(236));
  // A March of 31 local days, one of them an hour short.
  CHECK(cost.fixed_cost.figure->value == Approx(93.00));
  CHECK(cost.total_cost.figure->value == Approx(416.318));
  CHECK(cost.cost_per_mile.figure->value == Approx(0.174479).epsilon(1e-5));
  CHECK(cost.energy_cost_per_mile.figure->value == Approx(0.036595).epsilon(1e-4));
  CHECK(cost.grid_kwh_per_mile.figure->value == Approx(0.371239).epsilon(1e-5));
  CHECK(cost.grid_kwh_per_mile.figure->low < 0.36);
  CHECK_FALSE(cost.parts_cost.figure);
  CHECK_FALSE(cost.labour_cost.figure);
  CHECK_FALSE(cost.depreciation_cost.figure);
  CHECK_FALSE(cost.lost_days.figure);
  CHECK(left_out(cost) == std::vector<std::string>{"parts", "labour", "off_road", "depreciation"});
}

// 864.5 kWh over 3840 km, 60 kWh in the pack: 0.36231 kWh by the mile, 1 sd 0.00356
// from a tenth of the pack at either end.
TEST_CASE("kWh per mile at the meter") {
  const Figure kwh_per_mile =
      meter_kwh_per_mile({864.5, 864.5, 864.5, 0}, {3840, 3840, 3840, 0}, 60);
  CHECK(kwh_per_mile.value == Approx(0.36231).epsilon(1e-4));
  CHECK((kwh_per_mile.high - kwh_per_mile.value) / kZ95 == Approx(0.00356).epsilon(2e-3));
}

// 2.1 p by the mile at 8.4 p a kWh are 0.25 kWh at the meter; and 1.8 p at 7.5 p are
// 0.24 (common practice, no source).
TEST_CASE("pence by the mile and kWh by the mile agree") {
  for (const auto& [price, kwh, pence] : {std::tuple{0.084, 0.25, 2.1}, {0.075, 0.24, 1.8}}) {
    CostVan van = silent();
    van.money.tariffs = {flat_tariff("yard", price)};
    van.notes.receipts.clear();
    van.notes.odometer[1].km = van.notes.odometer[0].km + 1000 * kKmPerMile;
    van.notes.meter[0].after_kwh = van.notes.meter[0].before_kwh + 1000 * kwh;
    const VanCost cost = van.cost("2026-03-01", "2026-04-01");
    CHECK(100 * cost.energy_cost_per_mile.figure->value == Approx(pence));
    CHECK(cost.grid_kwh_per_mile.figure->value == Approx(kwh));
  }
}

TEST_CASE("a counter of one van counts between its notes, too, one of several does not") {
  CostVan van = silent();
  van.notes.receipts.clear();
  van.notes.meter = {{3, instant("2026-03-10T18:00:00Z"), 18240.5, 18300.5, 0.1},
                     {4, instant("2026-03-31T18:00:00Z"), 18400.5, 18440.5, 0.1}};
  CHECK(van.cost("2026-03-01", "2026-04-01").grid_kwh.figure->value == Approx(200));
  van.money.meter->vans = {"rowan", "alder"};
  CHECK(van.cost("2026-03-01", "2026-04-01").grid_kwh.figure->value == Approx(100));
}

TEST_CASE("at two rates the meter of a month gives a range") {
  CostVan van = silent();
  van.notes.receipts.clear();
  van.money.tariffs = {night_tariff()};
  van.money.places = {{"yard", PlaceKind::depot, "night", {}, {}, {}}};
  Figure energy = *van.cost("2026-03-01", "2026-04-01").energy_cost.figure;
  CHECK(energy.low == Approx(864.5 * 0.084).epsilon(0.02));
  CHECK(energy.high == Approx(864.5 * 0.30).epsilon(0.02));
  // Charged between 00:30 and 05:00 alone.
  van.money.places[0].hours = PlaceHours{30, 300, 0x7F};
  energy = *van.cost("2026-03-01", "2026-04-01").energy_cost.figure;
  CHECK(energy.value == Approx(864.5 * 0.084));
}

TEST_CASE("no cost by the mile under a hundred miles, and none without a distance") {
  CostVan van = silent();
  van.notes.odometer[1].km = van.notes.odometer[0].km + 99 * kKmPerMile;
  VanCost cost = van.cost("2026-03-01", "2026-04-01");
  CHECK_FALSE(cost.cost_per_mile.figure);
  CHECK(cost.cost_per_mile.why.find("too few") != std::string::npos);
  CHECK(cost.total_cost.figure);
  van.notes.odometer.pop_back();
  cost = van.cost("2026-03-01", "2026-04-01");
  CHECK_FALSE(cost.distance_km.figure);
  CHECK(cost.cost_per_mile.why.find("note the odometer") != std::string::npos);
}

TEST_CASE("an odometer that falls gives no distance") {
  CostVan van = silent();
  std::swap(van.notes.odometer[0].km, van.notes.odometer[1].km);
  const VanCost cost = van.cost("2026-03-01", "2026-04-01");
  CHECK_FALSE(cost.distance_km.figure);
  CHECK(cost.distance_km.why.find("fell from 65040 to 61200") != std::string::npos);
}

TEST_CASE("the cost of a month is the cost of its parts, however it is cut") {
  const unsigned seed = 4711;
  MESSAGE("seed ", seed);
  std::mt19937 random{seed};
  CostVan van;
  van.money.tariffs = {night_tariff(), flat_tariff("post", 0.69)};
  van.money.places = {{"yard", PlaceKind::depot, "night", PlaceHours{1080, 360, 0x7F}, {}, {}}};
  van.money.tariffs[0].lists[0].standing_per_day = 0.47;
  van.fixed = {{"insurance", 1240, {}, {}, at("2026-03-20")}};
  van.values = {{at("2024-03-01"), 30000, 0}, {at("2026-03-10"), 20000, 1000}};
  van.notes.off_road = {{1, on_day("2026-03-14"), 5, 300}};
  van.notes.jobs = {{2, on_day("2026-03-17"), "tyre", 118.5, 1.5},
                    {3, on_day("2026-03-25"), "wiper", 17.9, {}}};
  van.notes.receipts = {{4, on_day("2026-03-12"), 21.3, 0.1, 14.70, "Corn Exchange"}};
  van.labour_rate = 32;
  const UtcTime from = at("2026-03-01"), to = at("2026-04-01");
  for (UtcTime t = from; t < to; t += hours{7 + static_cast<int>(random() % 30)})
    van.sessions.push_back(
        session(t, 2 + static_cast<int>(random() % 5), 1 + static_cast<int>(random() % 4)));
  const VanCost whole = van.cost(from, to);
  for (int round = 0; round < 20; ++round) {
    std::vector<UtcTime> cuts{from, to};
    for (int k = 0; k < 5; ++k)
      cuts.push_back(from + milliseconds{static_cast<std::int64_t>(
                                random() % static_cast<std::uint64_t>((to - from).count()))});
    std::ranges::sort(cuts);
    std::array<double, 8> sums{};
    const auto parts = [](const VanCost& c) {
      return std::array{&c.energy_cost, &c.tyres_cost, &c.parts_cost, &c.labour_cost,
                        &c.fixed_cost,  &c.hire_cost,  &c.lost_days,  &c.depreciation_cost};
    };
    for (std::size_t k = 1; k < cuts.size(); ++k) {
      const VanCost part = van.cost(cuts[k - 1], cuts[k]);
      const auto figures = parts(part);
      for (std::size_t p = 0; p < figures.size(); ++p)
        if (figures[p]->figure) sums[p] += figures[p]->figure->value;
    }
    const auto figures = parts(whole);
    for (std::size_t p = 0; p < figures.size(); ++p)
      CHECK(sums[p] == Approx(figures[p]->figure->value).epsilon(1e-9));
  }
}

TEST_CASE("the order of notes does not matter") {
  CostVan van = silent();
  const double before = van.cost("2026-03-01", "2026-04-01").total_cost.figure->value;
  std::ranges::reverse(van.notes.odometer);
  CHECK(van.cost("2026-03-01", "2026-04-01").total_cost.figure->value == before);
  CHECK(van.cost("2026-03-01", "2026-04-01").distance_km.figure->value == Approx(3840));
}

TEST_CASE("a receipt that may be of two charges is paid once") {
  CostVan van;
  van.money.tariffs = {flat_tariff("yard", 0.30)};
  van.money.places = {{"yard", PlaceKind::depot, "yard", PlaceHours{0, 1440, 0x7F}, {}, {}}};
  van.sessions = {session(at("2026-03-12T08:00:00Z"), 7, 3),
                  session(at("2026-03-12T18:00:00Z"), 7, 3)};
  van.notes.receipts = {{4, on_day("2026-03-12"), 23.4, 0.1, 15, "Corn Exchange"}};
  const VanCost cost = van.cost("2026-03-01", "2026-04-01");
  const double one = van.sessions[0].grid_kwh.figure->value * 0.30;
  CHECK(cost.energy_cost.figure->value == Approx(one + 15));
}

TEST_CASE("a charge that may belong to another month widens the interval") {
  CostVan van;
  van.money.tariffs = {flat_tariff("yard", 0.30)};
  van.sessions = {session(at("2026-03-12T08:00:00Z"), 7, 3),
                  session(at("2026-03-31T08:00:00Z"), 7, 3)};
  van.sessions[1].start_doubt = van.sessions[1].end_doubt = {0, 3 * 86'400'000LL};
  const VanCost march = van.cost("2026-03-01", "2026-04-01");
  const VanCost april = van.cost("2026-04-01", "2026-05-01");
  CHECK(march.unsure_sessions == 1);
  CHECK(march.energy_cost.figure->low < van.sessions[0].grid_kwh.figure->value * 0.30);
  CHECK_FALSE(april.energy_cost.figure);
}

TEST_CASE("depreciation goes in a straight line between two values") {
  const std::vector<ValuePoint> values{{at("2024-01-01"), 30000, 0, false},
                                       {at("2026-01-01"), 20000, 1000, false}};
  // 10,000 over 731 days.
  const MaybeFigure month = depreciation(values, london(), at("2025-06-01"), at("2025-07-01"));
  CHECK(month.figure->value == Approx(10000.0 / 731 * 30));
  CHECK((month.figure->high - month.figure->value) / kZ95 == Approx(1000.0 / 731 * 30));
  // Behind the last one at the same pace, for a year.
  CHECK(depreciation(values, london(), at("2026-06-01"), at("2026-07-01")).figure->value ==
        Approx(10000.0 / 731 * 30));
  CHECK_FALSE(depreciation(values, london(), at("2027-02-01"), at("2027-03-01")).figure);
  CHECK_FALSE(depreciation(values, london(), at("2023-02-01"), at("2023-03-01")).figure);
  CHECK_FALSE(
      depreciation({values.data(), 1}, london(), at("2025-02-01"), at("2025-03-01")).figure);
}

// IAS 16, 62, from memory: straight line, diminishing balance. By the second, what halves the worth
// in 731 days takes 1 - 0.5^(30/731) = 2.805 % of it in 30: 30,000 -> 841.5, and of the
// last 30 days' 15,435.5 -> 435.5; the straight line says 615.6 of either.
TEST_CASE("depreciation holds the loss by a share of each year, too") {
  const std::vector<ValuePoint> values{{at("2024-01-01"), 30000, 0, false},
                                       {at("2026-01-01"), 15000, 0, false}};
  const MaybeFigure first = depreciation(values, london(), at("2024-01-01"), at("2024-01-31"));
  const MaybeFigure last = depreciation(values, london(), at("2025-12-02"), at("2026-01-01"));
  CHECK(first.figure->value == Approx(15000.0 / 731 * 30));
  CHECK(first.figure->low == Approx(15000.0 / 731 * 30));
  CHECK(first.figure->high == Approx(30000 * (1 - std::pow(0.5, 30.0 / 731))));
  CHECK(last.figure->value == Approx(15000.0 / 731 * 30));
  CHECK(last.figure->low == Approx(15000 * (std::pow(0.5, -30.0 / 731) - 1)));
  CHECK(last.figure->high == Approx(15000.0 / 731 * 30));
  // Behind the last point on the same curve; where nothing is left there is none.
  const MaybeFigure behind = depreciation(values, london(), at("2026-01-01"), at("2026-01-31"));
  CHECK(behind.figure->low == Approx(15000 * (1 - std::pow(0.5, 30.0 / 731))));
  const std::vector<ValuePoint> to_nothing{values[0], {at("2026-01-01"), 0, 0, true}};
  CHECK(depreciation(to_nothing, london(), at("2025-06-01"), at("2025-07-01")).figure->low ==
        Approx(30000.0 / 731 * 30));
}

TEST_CASE("standing and charger losses are named in money") {
  CostVan van;
  van.money.tariffs = {flat_tariff("yard", 0.30)};
  van.sessions = {session(at("2026-03-12T08:00:00Z"), 7, 3)};
  Stand stand;
  stand.start = at("2026-03-12T15:00:00Z");
  stand.end = stand.start + 1h;
  stand.discharge_kwh = MaybeFigure::known(figure_of(0.5, 0, 0));
  van.stands = {stand};
  const VanCost cost = van.cost("2026-03-01", "2026-04-01");
  const double grid = van.sessions[0].grid_kwh.figure->value;
  CHECK(cost.charger_loss_cost.figure->value == Approx((grid - 21) * 0.30));
  CHECK(cost.standing_cost.figure->value == Approx(0.5 * grid / 21 * 0.30));
}

TEST_CASE("days off the road are local days: the month in which clocks change has its own") {
  CostVan van;
  // The last three days of March, the first of them an hour short; and of October.
  van.notes.off_road = {{1, on_day("2026-03-29"), 3, 300}, {2, on_day("2026-10-25"), 7, 700}};
  CHECK(van.cost("2026-03-01", "2026-04-01").lost_days.figure->value == Approx(3));
  CHECK(van.cost("2026-04-01", "2026-05-01").lost_days.figure->value == 0);
  CHECK(van.cost("2026-10-01", "2026-11-01").hire_cost.figure->value == Approx(700));
  CHECK(van.cost("2026-11-01", "2026-12-01").hire_cost.figure->value == 0);
  // A day that two notes have is lost once; both hires were paid.
  van.notes.off_road = {{1, on_day("2026-05-04"), 5, 300}, {2, on_day("2026-05-06"), 4, 100}};
  CHECK(van.cost("2026-05-01", "2026-06-01").lost_days.figure->value == Approx(6));
  CHECK(van.cost("2026-05-01", "2026-06-01").hire_cost.figure->value == Approx(400));
}

TEST_CASE("days whose stand-in nobody paid for on paper are named") {
  CostVan van;
  van.notes.off_road = {{1, on_day("2026-03-10"), 3, 300}, {2, on_day("2026-03-20"), 2, {}}};
  const VanCost march = van.cost("2026-03-01", "2026-04-01");
  CHECK(march.hire_cost.figure->value == Approx(300));
  const auto hire = std::ranges::find(march.not_included, "hire", &LeftOut::word);
  REQUIRE(hire != march.not_included.end());
  CHECK(hire->why.find("2 days") == 0);
  const VanCost first_half = van.cost("2026-03-01", "2026-03-15");
  CHECK(std::ranges::find(first_half.not_included, "hire", &LeftOut::word) ==
        first_half.not_included.end());
}

TEST_CASE("an odometer that falls within the period gives no distance, wherever it falls") {
  CostVan van = silent();
  // A digit too many in the middle, a digit too few, and a word of nothing.
  for (const double wrong : {75040.0, 6300.0, 0.0}) {
    van.notes.odometer = {{1, instant("2026-03-01T07:00:00Z"), 61200, 1},
                          {2, instant("2026-03-15T07:00:00Z"), wrong, 1},
                          {3, instant("2026-03-31T18:00:00Z"), 65040, 1}};
    const VanCost cost = van.cost("2026-03-01", "2026-04-01");
    CHECK_FALSE(cost.distance_km.figure);
    CHECK(cost.distance_km.why.find("fell from") != std::string::npos);
  }
  // A note rounded up beside the logger's own reading is no fall.
  van.notes.odometer[1] = {2, instant("2026-03-31T17:00:00Z"), 65041, 1};
  CHECK(van.cost("2026-03-01", "2026-04-01").distance_km.figure->value == Approx(3841));
}

TEST_CASE("a distance of a part of the days is said where the figure is made") {
  CostVan van = silent();
  CHECK(van.cost("2026-03-01", "2026-04-01").short_distance.empty());
  const VanCost quarter = van.cost("2026-02-01", "2026-05-01");
  CHECK(quarter.short_distance.find("of 30 of the 89 days, 2026-03-01 to 2026-03-31") !=
        std::string::npos);
  // kWh by the mile are those between the two readings.
  CHECK(quarter.grid_kwh_per_mile.figure->value == Approx(0.371239).epsilon(1e-5));
  // Trips alone: what was not heard is missing.
  Trip trip;
  trip.start = at("2026-03-02T09:00:00Z");
  trip.end = trip.start + 2h;
  trip.distance_km = MaybeFigure::known(figure_of(300, 1, 1));
  van.trips = {trip, trip};
  van.trips[1].distance_km = MaybeFigure::unknown("no speed");
  van.notes.odometer.clear();
  const VanCost trips = van.cost("2026-03-01", "2026-04-01");
  CHECK(trips.distance_km.figure->value == Approx(300));
  CHECK(trips.short_distance.find("1 trips without a distance") != std::string::npos);
}

TEST_CASE("what is paid by the year is paid while the van is owned, a standing charge by all") {
  CostVan van;
  van.money.tariffs = {flat_tariff("yard", 0.30)};
  van.money.tariffs[0].lists[0].standing_per_day = 0.60;
  van.fixed = {{"insurance", 365.25, {}, {}, {}}};
  van.owned = {at("2026-03-11"), at("2026-03-21")};
  // A second van all the time, a third one until the 16th.
  van.sharing = {van.owned, {}, {std::nullopt, at("2026-03-16")}};
  const double share = 5 * 0.60 / 3 + 5 * 0.60 / 2;
  CHECK(van.cost("2026-03-01", "2026-04-01").fixed_cost.figure->value == Approx(10 + share));
  CHECK(van.cost("2026-04-01", "2026-05-01").fixed_cost.figure->value == 0);
  // The three pay the whole charge between them.
  double all = 0;
  for (const OwnedSpan& owned : std::vector<OwnedSpan>{van.sharing}) {
    van.owned = owned;
    van.fixed.clear();
    all += van.cost("2026-03-01", "2026-04-01").fixed_cost.figure->value;
  }
  CHECK(all == Approx(31 * 0.60));
  // A finance that goes on behind the sale has its own end.
  van.owned = {at("2026-03-11"), at("2026-03-21")};
  van.sharing.clear();
  van.fixed = {{"finance", 365.25, {}, at("2026-03-01"), at("2027-01-01")}};
  CHECK(van.cost("2026-03-01", "2026-04-01").fixed_cost.figure->value == Approx(31));
}

TEST_CASE("two opinions of one week tell no pace, and no van is worth less than nothing") {
  const std::vector<ValuePoint> values{{at("2024-01-01"), 30000, 0, false},
                                       {at("2025-12-25"), 20500, 1000, false},
                                       {at("2026-01-01"), 20000, 1000, false}};
  // 10,000 over 731 days, not 500 over 7.
  CHECK(depreciation(values, london(), at("2026-06-01"), at("2026-07-01")).figure->value ==
        Approx(10000.0 / 731 * 30));
  const std::vector<ValuePoint> falling{{at("2025-01-01"), 9000, 0, false},
                                        {at("2026-01-01"), 1000, 100, false}};
  CHECK(depreciation(falling, london(), at("2026-01-01"), at("2026-02-01")).figure);
  CHECK(depreciation(falling, london(), at("2026-06-01"), at("2026-07-01"))
            .why.find("below nothing") != std::string::npos);
}

TEST_CASE("what would make a cost by the mile narrower is the widest of its parts") {
  const auto figure = [](double low, double high) {
    return MaybeFigure::known({(low + high) / 2, low, high, 0});
  };
  VanCost cost;
  cost.total_cost = figure(300, 900);
  cost.distance_km = figure(2990, 3010);
  cost.energy_cost = figure(190, 210);
  cost.depreciation_cost = figure(10, 560);
  CHECK(narrower_by(cost).find("valuations") != std::string::npos);
  cost.depreciation_cost = MaybeFigure::unknown("needs two values of the van");
  CHECK(narrower_by(cost).find("receipts or meter readings") != std::string::npos);
  cost.distance_km = figure(2500, 3500);
  CHECK(narrower_by(cost).find("odometer notes") != std::string::npos);
}
