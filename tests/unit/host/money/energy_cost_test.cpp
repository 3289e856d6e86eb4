#include "money/energy_cost.hpp"

#include <doctest/doctest.h>

#include <random>

#include "unit/host/money/cost_van.hpp"

using namespace packmile;
using namespace std::chrono;
using doctest::Approx;

namespace {

constexpr double kPrice = 0.30;

// Every charge is at the yard, at one price; the counter is this van's alone.
CostVan at_the_yard() {
  CostVan van;
  van.money.tariffs = {flat_tariff("yard", kPrice)};
  van.money.places = {{"yard", PlaceKind::depot, "yard", PlaceHours{0, 1440, 0x7F}, {}, {}}};
  van.money.meter = DepotMeter{"yard", {"rowan"}, 1};
  return van;
}

// A charge of 21 kWh into the pack each evening.
void charge_each_evening(CostVan& van, const char* from, int days) {
  for (int day = 0; day < days; ++day)
    van.sessions.push_back(session(at(from) + hours{24 * day + 19}, 7, 3));
}

double grid_sum(const CostVan& van) {
  double sum = 0;
  for (const ChargeSession& s : van.sessions) sum += s.grid_kwh.figure->value;
  return sum;
}

double energy_of(const CostVan& van, const char* from, const char* to) {
  const VanCost cost = van.cost(from, to);
  return cost.energy_cost.figure ? cost.energy_cost.figure->value : 0;
}

bool holds(const Figure& f, double truth) {
  return f.low <= truth + 1e-9 && truth <= f.high + 1e-9;
}

}  // namespace

TEST_CASE("two receipts that claim one charge: both were paid, and the charge once") {
  CostVan van = at_the_yard();
  charge_each_evening(van, "2026-03-12", 1);
  van.notes.receipts = {{4, on_day("2026-03-12"), 23.4, 0.1, 15, "Corn Exchange"},
                        {5, on_day("2026-03-12"), 23.4, 0.1, 14, "Corn Exchange"}};
  const Figure energy = *van.cost("2026-03-01", "2026-04-01").energy_cost.figure;
  CHECK(energy.value == Approx(29));
  CHECK(energy.low == Approx(29));
  CHECK(energy.high == Approx(29));
}

TEST_CASE("two receipts of three charges leave one to be reckoned, and any of them") {
  CostVan van = at_the_yard();
  for (const char* start : {"2026-03-12T01:00:00Z", "2026-03-12T09:00:00Z", "2026-03-12T19:00:00Z"})
    van.sessions.push_back(session(at(start), 7, 3));
  van.sessions[1] = session(at("2026-03-12T09:00:00Z"), 7, 3.3);
  van.notes.receipts = {{4, on_day("2026-03-12"), 23.9, 0.1, 15, "Corn Exchange"},
                        {5, on_day("2026-03-12"), 24.1, 0.1, 14, "Corn Exchange"}};
  const Figure energy = *van.cost("2026-03-01", "2026-04-01").energy_cost.figure;
  CHECK(energy.value == Approx(29 + grid_sum(van) / 3 * kPrice));
  for (const ChargeSession& s : van.sessions)
    CHECK(holds(energy, 29 + s.grid_kwh.figure->value * kPrice));
}

TEST_CASE("a receipt written down in the next month is paid once, however months are cut") {
  CostVan van = at_the_yard();
  van.sessions = {session(at("2026-03-31T18:00:00Z"), 7, 3),
                  session(at("2026-04-01T11:00:00Z"), 7, 3)};
  van.notes.receipts = {{4, on_day("2026-04-01"), 23.4, 0.1, 15, "Corn Exchange"}};
  const double whole = energy_of(van, "2026-03-01", "2026-05-01");
  CHECK(whole == Approx(15 + grid_sum(van) / 2 * kPrice));
  CHECK(energy_of(van, "2026-03-01", "2026-04-01") + energy_of(van, "2026-04-01", "2026-05-01") ==
        Approx(whole));
}

TEST_CASE("of a counter's month only what was not heard is added") {
  CostVan van = at_the_yard();
  van.notes.meter = {{1, instant("2026-03-01T07:00:00Z"), 18000.0, 18000.0, 0.1},
                     {2, instant("2026-03-31T17:00:00Z"), 18864.5, 18864.5, 0.1}};
  const double nothing_heard = energy_of(van, "2026-03-01", "2026-04-01");
  CHECK(nothing_heard == Approx(864.5 * kPrice));
  // The logger was in the van for two weeks.
  charge_each_evening(van, "2026-03-02", 14);
  VanCost cost = van.cost("2026-03-01", "2026-04-01");
  CHECK(cost.energy_cost.figure->value == Approx(864.5 * kPrice));
  CHECK(cost.grid_kwh.figure->value == Approx(864.5));
  // Charges before and behind do not make the silent weeks heard.
  charge_each_evening(van, "2026-04-02", 20);
  CHECK(energy_of(van, "2026-03-01", "2026-04-01") == Approx(864.5 * kPrice));
}

TEST_CASE("a counter that says no more than was heard adds nothing") {
  for (const double share : {0.93, 0.97, 1.0}) {
    CostVan van = at_the_yard();
    charge_each_evening(van, "2026-03-02", 28);
    van.notes.meter = {{1, instant("2026-03-01T07:00:00Z"), 18000, 18000, 0.1},
                       {2, instant("2026-03-31T17:00:00Z"), 18000 + share * grid_sum(van),
                        18000 + share * grid_sum(van), 0.1}};
    CHECK(energy_of(van, "2026-03-01", "2026-04-01") == Approx(grid_sum(van) * kPrice));
  }
}

TEST_CASE("a charge that ran while the counter was read is paid once") {
  CostVan van = at_the_yard();
  charge_each_evening(van, "2026-03-02", 28);
  // Read at half past eight, within a charge of 19:00 to 22:00; the counter has all
  // but the second half of it.
  const double all = grid_sum(van), one = all / 28;
  const double read = 18000 + all * 14 / 28 - one / 2;
  van.notes.meter = {{1, instant("2026-03-01T07:00:00Z"), 18000, 18000, 0.1},
                     {2, instant("2026-03-15T20:30:00Z"), read, read, 0.1},
                     {3, instant("2026-03-31T17:00:00Z"), 18000 + all, 18000 + all, 0.1}};
  const Figure energy = *van.cost("2026-03-01", "2026-04-01").energy_cost.figure;
  CHECK(energy.value == Approx(all * kPrice));
  CHECK(energy.high < (all * 1.1 + one) * kPrice);
}

TEST_CASE("what a landlord's receipt has paid the counter does not bill again") {
  CostVan van = silent();
  van.notes.receipts = {{4, on_day("2026-03-31"), 864.5, 0.1, 72.62, "yard"}};
  CHECK(energy_of(van, "2026-03-01", "2026-04-01") == Approx(72.62));
  // Of another place it is beside it.
  van.notes.receipts[0].place = "Corn Exchange";
  CHECK(energy_of(van, "2026-03-01", "2026-04-01") == Approx(72.62 + 864.5 * 0.084));
}

TEST_CASE("between two notes a counter's energy belongs to the days between them") {
  CostVan van = at_the_yard();
  van.notes.meter = {{1, instant("2026-02-15T07:00:00Z"), 18000, 18000, 0.1},
                     {2, instant("2026-03-15T07:00:00Z"), 18560, 18560, 0.1},
                     {3, instant("2026-04-12T06:00:00Z"), 19400, 19400, 0.1}};
  const double whole = energy_of(van, "2026-02-01", "2026-05-01");
  CHECK(whole == Approx(1400 * kPrice));
  const VanCost march = van.cost("2026-03-01", "2026-04-01");
  // 14 7/24 of 28 days at 20 kWh, 16 17/24 of 28 at 30 (local days: one has 23 hours).
  CHECK(march.grid_kwh.figure->value ==
        Approx(20 * (14 + 7.0 / 24) + 30 * (16 + 17.0 / 24)).epsilon(1e-4));
  // Within a stretch nobody knows the day: the van may have stood for half of it.
  CHECK(march.grid_kwh.figure->low < 560);
  CHECK(march.grid_kwh.figure->high > 1100);
  CHECK(energy_of(van, "2026-02-01", "2026-03-01") + march.energy_cost.figure->value +
            energy_of(van, "2026-04-01", "2026-05-01") ==
        Approx(whole));
  // The days on which it was heard have their charges; the rest has what is left.
  Trip trip;
  trip.coverage = 1;
  for (int day = 0; day < 31; ++day) {
    trip.start = at("2026-03-01") + hours{24 * day + 9};
    trip.end = trip.start + 1h;
    van.trips.push_back(trip);
  }
  CHECK(energy_of(van, "2026-03-01", "2026-04-01") < 0.05 * whole);
  CHECK(energy_of(van, "2026-02-01", "2026-05-01") == Approx(whole));
}

TEST_CASE("counters that overlap count once, and one that was renewed is named") {
  CostVan van = at_the_yard();
  van.notes.meter = {{1, instant("2026-03-10T18:00:00Z"), 100, 150, 0.1},
                     {2, instant("2026-03-20T18:00:00Z"), 120, 170, 0.1}};
  CHECK(van.cost("2026-03-01", "2026-04-01").grid_kwh.figure->value == Approx(70));
  van.notes.meter[1] = {2, instant("2026-03-20T18:00:00Z"), 3, 53, 0.1};
  const VanCost cost = van.cost("2026-03-01", "2026-04-01");
  CHECK(cost.grid_kwh.figure->value == Approx(100));
  CHECK(left_out(cost).front() == "meter_renewed");
}

TEST_CASE("a month of a counter that several vans use is no van's own") {
  CostVan van = silent();
  van.money.meter->vans = {"rowan", "alder"};
  const VanCost cost = van.cost("2026-03-01", "2026-04-01");
  CHECK(left_out(cost).front() == "meter_shared");
  // What the receipt says was paid; by the mile it would be a tenth of the truth.
  CHECK(cost.energy_cost.figure->value == Approx(14.70));
  for (const MaybeFigure* f :
       {&cost.grid_kwh, &cost.grid_kwh_per_mile, &cost.cost_per_mile, &cost.energy_cost_per_mile}) {
    CHECK_FALSE(f->figure);
    CHECK(f->why.find("more than one charge") != std::string::npos);
  }
  // One charge of it is.
  van.notes.meter[0].after_kwh = van.notes.meter[0].before_kwh + 40;
  CHECK(van.cost("2026-03-01", "2026-04-01").grid_kwh.figure->value == Approx(61.3));
}

TEST_CASE("where more than a tenth of the charges has no cost there is none by the mile") {
  CostVan van = at_the_yard();
  van.money.meter.reset();
  van.notes.odometer = {{1, instant("2026-03-01T07:00:00Z"), 61200, 1},
                        {2, instant("2026-03-31T18:00:00Z"), 65040, 1}};
  charge_each_evening(van, "2026-03-02", 20);
  for (const std::size_t k : {3u, 4u, 5u})
    van.sessions[k].pack_kwh = van.sessions[k].grid_kwh = MaybeFigure::unknown("too little");
  VanCost cost = van.cost("2026-03-01", "2026-04-01");
  CHECK(cost.energy_cost.figure);
  CHECK(left_out(cost).front() == "charges_without_cost");
  CHECK_FALSE(cost.energy_cost_per_mile.figure);
  CHECK(cost.cost_per_mile.why.find("3 of 20 charges") != std::string::npos);
  CHECK_FALSE(cost.grid_kwh.figure);
  // The van's own counter has counted them.
  van.money.meter = DepotMeter{"yard", {"rowan"}, 1};
  van.notes.meter = {{1, instant("2026-03-01T07:00:00Z"), 18000, 18000, 0.1},
                     {2, instant("2026-03-31T17:00:00Z"), 18470, 18470, 0.1}};
  cost = van.cost("2026-03-01", "2026-04-01");
  CHECK(cost.grid_kwh.figure->value == Approx(470));
  CHECK(cost.energy_cost.figure->value == Approx(470 * kPrice));
  CHECK(cost.energy_cost_per_mile.figure);
  CHECK(left_out(cost).front() != "charges_without_cost");
}

TEST_CASE("parts add up to the whole, with receipts that fit several charges and a counter") {
  const unsigned seed = 1105;
  MESSAGE("seed ", seed);
  std::mt19937 random{seed};
  CostVan van = at_the_yard();
  const UtcTime from = at("2026-03-01"), to = at("2026-05-01");
  double counter = 18000;
  std::uint32_t id = 1;
  for (int day = 0; day < 61; ++day) {
    const UtcTime start = from + hours{24 * day + static_cast<int>(random() % 24)};
    if (day < 10 || day > 25) van.sessions.push_back(session(start, 7, 3));
    const Zone::Day local = london().day_of(start);
    if (random() % 3 == 0)
      van.notes.receipts.push_back({id++, {local.from, local.to}, 23.4, 0.1, 11, "Corn Exchange"});
    counter += 24;
    if (random() % 6 == 0) van.notes.meter.push_back({id++, {start, start}, counter, counter, 0.1});
  }
  const VanCost whole = van.cost(from, to);
  CHECK(whole.energy_cost.figure->low <= whole.energy_cost.figure->value);
  for (int round = 0; round < 30; ++round) {
    std::vector<UtcTime> cuts{from, to};
    for (int k = 0; k < 4; ++k)
      cuts.push_back(from + milliseconds{static_cast<std::int64_t>(
                                random() % static_cast<std::uint64_t>((to - from).count()))});
    std::ranges::sort(cuts);
    double cost = 0, kwh = 0;
    for (std::size_t k = 1; k < cuts.size(); ++k) {
      const VanCost part = van.cost(cuts[k - 1], cuts[k]);
      for (const auto& [figure, sum] :
           {std::pair{&part.energy_cost, &cost}, {&part.grid_kwh, &kwh}}) {
        if (!figure->figure) continue;
        *sum += figure->figure->value;
        CHECK(figure->figure->low <= figure->figure->value);
        CHECK(figure->figure->value <= figure->figure->high);
      }
    }
    CHECK(cost == Approx(whole.energy_cost.figure->value).epsilon(1e-9));
    CHECK(kwh == Approx(whole.grid_kwh.figure->value).epsilon(1e-9));
  }
}
