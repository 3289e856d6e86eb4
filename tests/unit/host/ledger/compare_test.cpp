#include "ledger/compare.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace packmile;
using namespace std::chrono;
using doctest::Approx;

namespace {

Zone utc() { return Zone::find("UTC").value(); }

// Two trips a day, their conditions by plain waves that do not go together.
Trip trip(int index, double base_kwh_per_mile, int phase, double haste = 1) {
  const double x = index + phase;
  Trip t;
  t.start = sys_days{year{2026} / March / 1} + days{index / 2} + hours{7 + 6 * (index % 2)};
  t.end = t.start + hours{1};
  const double km = 20 + 8 * std::sin(1.7 * x);
  t.distance_km = MaybeFigure::known(figure_of(km, 0.02, 0));
  t.moving_kmh = haste * (45 + 20 * std::sin(0.9 * x));
  t.stops = std::round(12 + 9 * std::sin(2.3 * x));
  t.ambient_mean_c = std::round(8 + 10 * std::sin(0.31 * x));
  const double mph = *t.moving_kmh / kKmPerMile;
  const double e = base_kwh_per_mile + 2e-5 * mph * mph + 0.02 * *t.stops / (km / kKmPerMile) +
                   (0.3 + 0.1 * std::max(0.0, 15 - *t.ambient_mean_c)) / mph +
                   0.01 * std::sin(5.1 * x + 0.3 * x * x);
  t.net_kwh = MaybeFigure::known(figure_of(e * km / kKmPerMile, 0.001, 0));
  t.filled_kwh = MaybeFigure::known({});
  t.kwh_per_mile = MaybeFigure::known(figure_of(e, 0.001, 0.0005));
  t.energy_method = EnergyMethod::integrated;
  t.coverage = 1;
  return t;
}

VanToCompare van(const std::string& name, const std::string& vin, double base, int trips, int phase,
                 double haste = 1) {
  VanToCompare out{{name, vin}, {}};
  for (int i = 0; i < trips; ++i) out.parts.trips.push_back(trip(i, base, phase, haste));
  return out;
}

std::vector<VanToCompare> two_vans() {
  return {van("alder", "0PMLVAN18T0000100", 0.20, 80, 0),
          van("rowan", "0PMLVAN1XT0000101", 0.25, 80, 500)};
}

Cell cell(const Comparison& comparison, std::size_t van, std::string_view name) {
  const Rows rows{compare_columns(), {row_of(comparison, van)}};
  return rows.rows[0].at(rows.column_of(name));
}

}  // namespace

TEST_CASE("compare: two vans of one type that differ are told apart") {
  const Comparison c = compare(two_vans(), {}, utc());
  REQUIRE(c.study.types.size() == 1);  // the VINs begin alike
  REQUIRE(c.vans.size() == 2);
  CHECK(c.vans[1].energy_decided);
  CHECK(c.vans[1].difference_kwh_per_mile.figure->value == Approx(0.05).epsilon(0.15));
  CHECK(c.vans[1].energy_reason.find("more than the other van") != std::string::npos);
  CHECK(c.vans[0].energy_reason.find("less than the other van") != std::string::npos);
  REQUIRE(c.vans[0].against.size() == 1);
  CHECK(c.vans[0].against[0].other == "rowan");
  CHECK(c.vans[0].against[0].kwh_per_mile.value ==
        Approx(-c.vans[1].against[0].kwh_per_mile.value));
  // The plain figure is that of `throughput`.
  CHECK(c.vans[0].kwh_per_mile.figure->value ==
        Approx(throughput_of(two_vans()[0].parts, {}, utc()).kwh_per_mile.figure->value));
}

TEST_CASE("compare: two like vans of which one is driven fast are told apart as driven alone") {
  const Comparison c = compare({van("alder", "0PMLVAN18T0000100", 0.22, 80, 0, 1.6),
                                van("rowan", "0PMLVAN1XT0000101", 0.22, 80, 500)},
                               {}, utc());
  CAPTURE(c.vans[0].energy_reason);
  CHECK_FALSE(c.vans[0].energy_decided);
  CHECK(c.vans[0].energy_reason.find("as driven it takes") != std::string::npos);
  CHECK(c.vans[0].energy_reason.find("not the van") != std::string::npos);
  // Driven alike: nothing of the kind.
  const Comparison alike = compare({van("alder", "0PMLVAN18T0000100", 0.22, 80, 0),
                                    van("rowan", "0PMLVAN1XT0000101", 0.22, 80, 500)},
                                   {}, utc());
  CAPTURE(alike.vans[0].energy_reason);
  CHECK(alike.vans[0].energy_reason.find("as driven") == std::string::npos);
}

TEST_CASE("compare: every row has a cell for each column, money is null with its reason") {
  const Comparison c = compare(two_vans(), {}, utc());
  for (std::size_t k = 0; k < c.vans.size(); ++k) {
    CHECK(row_of(c, k).size() == compare_columns().size());
    for (const char* key : {"cost_per_mile", "break_even_price", "equivalent_years"}) {
      CHECK_FALSE(cell(c, k, key).known());
      CHECK_FALSE(cell(c, k, key).why.empty());
    }
    CHECK(std::get<std::string>(cell(c, k, "decided").value) == "yes");
    CHECK(cell(c, k, "kwh_per_mile_at_reference").known());
    CHECK(std::get<double>(cell(c, k, "reference_ambient_c").value) == 18);
    CHECK(cell(c, k, "heating_kw_per_k").known());
    CHECK_FALSE(cell(c, k, "cooling_kw_per_k").known());  // never above 22 degC
    CHECK(cell(c, k, "base_kwh_per_mile").known());
  }
}

TEST_CASE("compare: with what keeping hangs on, the row is about keeping or selling") {
  auto vans = two_vans();
  KeepInputs in;
  const auto sure = [](double value) { return ThreePoint{value, value, value}; };
  in.challenger_price = sure(15'430 / 1.15);
  in.challenger_resale = in.challenger_repairs = in.challenger_lost_days = sure(0);
  in.challenger_years = 1;
  in.resale_now = sure(15'000);
  in.resale_next_year = sure(14'000);
  in.repairs_next_year = sure(10'000);
  in.lost_days_next_year = sure(0);
  in.hire_per_lost_day = 0;
  in.miles_per_year = sure(10'000);
  in.rate = 0.15;
  in.rate_basis = RateBasis::nominal;
  vans[0].keep.told = keep_or_sell(in);
  vans[0].keep.reason = "keep: so";
  vans[1].keep.why = "[[keep]] lacks rate_pct";
  const Comparison c = compare(vans, {}, utc());
  CHECK(std::get<Figure>(cell(c, 0, "break_even_price").value).value == Approx(16'895.65));
  CHECK(std::get<std::string>(cell(c, 0, "decided").value) == "yes");
  CHECK(std::get<std::string>(cell(c, 0, "reason").value) == "keep: so");
  CHECK(std::get<std::string>(cell(c, 0, "question").value) == "keep_or_sell");
  CHECK(std::get<std::string>(cell(c, 0, "keep_or_sell").value) == "keep");
  CHECK(cell(c, 1, "break_even_price").why == "[[keep]] lacks rate_pct");
  CHECK(std::get<std::string>(cell(c, 1, "question").value) == "kwh_per_mile");
}

TEST_CASE("compare: vans whose costs overlap have no rank, and what would decide it is said") {
  const auto cost = [](double low, double high) {
    return MaybeFigure::known({(low + high) / 2, low, high, 0});
  };
  const auto ranks = ranks_of({{"alder", cost(0.30, 0.34), {"tyres"}, "alder's cure"},
                               {"rowan", cost(0.33, 0.60), {"tyres"}, "rowan's cure"},
                               {"willow", cost(0.10, 0.20), {"tyres"}, {}},
                               {"linden", MaybeFigure::unknown("no tariff"), {}, {}}});
  CHECK_FALSE(ranks[0].rank);
  CHECK(ranks[0].why.find("overlaps that of rowan") != std::string::npos);
  CHECK(ranks[0].why.find("narrower cost of rowan: rowan's cure") != std::string::npos);
  CHECK_FALSE(ranks[1].rank);
  CHECK(*ranks[2].rank == 1);
  CHECK(ranks[3].why == "no tariff");
  const auto apart = ranks_of({{"a", cost(0.30, 0.34), {}, {}}, {"b", cost(0.10, 0.20), {}, {}}});
  CHECK(*apart[0].rank == 2);
  CHECK(*apart[1].rank == 1);
  CHECK_FALSE(ranks_of({{"a", cost(1, 2), {}, {}}})[0].rank);
  // A van whose depreciation nobody told is no cheaper for it.
  const auto unlike = ranks_of({{"a", cost(0.30, 0.34), {"labour"}, {}},
                                {"b", cost(0.10, 0.20), {"labour", "depreciation"}, {}}});
  CHECK_FALSE(unlike[0].rank);
  CHECK_FALSE(unlike[1].rank);
  for (const CostRank& rank : unlike)
    CHECK(rank.why.find("the cost of b leaves out depreciation, that of a does not") !=
          std::string::npos);
}

TEST_CASE("compare: below 40 drives nothing is decided, and the row says why") {
  auto vans = two_vans();
  vans[1].parts.trips.resize(39);
  const Comparison c = compare(vans, {}, utc());
  CHECK_FALSE(c.vans[1].energy_decided);
  CHECK(c.vans[1].energy_reason.find("needs 40 drives on 10 days and has 39 on 20") !=
        std::string::npos);
  CHECK_FALSE(cell(c, 1, "kwh_per_mile_at_reference").known());
  CHECK(cell(c, 1, "kwh_per_mile").known());
  CHECK(cell(c, 1, "difference_kwh_per_mile").why == c.vans[1].energy_reason);
  CHECK(c.vans[0].energy_reason == "no other van has enough drives to compare with");
  CHECK(cell(c, 0, "kwh_per_mile_at_reference").known());
  // A period that holds too little does the same; an empty depot is survived.
  const Comparison none = compare(vans, {UtcTime{sys_days{year{2030} / 1 / 1}}, {}}, utc());
  CHECK_FALSE(cell(none, 0, "reference_moving_kmh").known());
  CHECK(compare({}, {}, utc()).vans.empty());
}

TEST_CASE("compare: trips that cannot be explained are left out") {
  auto vans = two_vans();
  auto& trips = vans[0].parts.trips;
  trips[0].coverage = 0.89;
  trips[1].moving_kmh.reset();
  trips[2].energy_method = EnergyMethod::soc_nominal;
  trips[3].kwh_per_mile = MaybeFigure::unknown("the odometer ran backwards");
  trips[4].distance_km = MaybeFigure::known({2.9, 2.9, 2.9, 0});
  CHECK(compare(vans, {}, utc()).study.vans[0].drives == 75);
}

TEST_CASE("compare: what may be chance is said to be, with the days that would do") {
  auto vans = two_vans();
  vans[1] = van("rowan", "0PMLVAN1XT0000101", 0.2003, 80, 500);
  const Comparison c = compare(vans, {}, utc());
  CHECK_FALSE(c.vans[1].energy_decided);
  CHECK(c.vans[1].energy_reason.find("may be chance") != std::string::npos);
  CHECK(std::get<std::string>(cell(c, 1, "decided").value) == "no");
}

TEST_CASE("compare: vans of unlike VINs, capacities or without a VIN are of types of their own") {
  auto vans = two_vans();
  vans[1].parts.facts.nominal_kwh = 60;
  CHECK(compare(vans, {}, utc()).study.types.size() == 2);
  vans = two_vans();
  vans[1].names.vin = "0PMLVAN28T0000100";
  CHECK(compare(vans, {}, utc()).study.types.size() == 2);
  vans[1].names.vin.clear();
  vans[0].names.vin.clear();
  CHECK(compare(vans, {}, utc()).study.types.size() == 2);
}
