// Keep or sell from fleet.toml and the van's own use; its round in winter.
#include "ledger/keep.hpp"

#include <doctest/doctest.h>

#include <string>

namespace packmile::testing {
namespace {

using std::chrono::days;
using std::chrono::hours;

constexpr char kKeep[] =
    "zone = \"UTC\"\ncurrency = \"GBP\"\n[[van]]\nname = \"Linden\"\n"
    "[[keep]]\nchallenger_price = [19000, 21500, 24000]\nchallenger_years = 5\n"
    "challenger_resale = [5000, 7000, 9500]\nchallenger_repairs_a_year = [300, 600, 1200]\n"
    "challenger_lost_days_a_year = [1, 3, 6]\nresale_now = [7000, 8500, 9800]\n"
    "resale_next_year = [5200, 6600, 8000]\nrepairs_next_year = [700, 1500, 3500]\n"
    "lost_days_next_year = [3, 8, 18]\nhire_per_lost_day = 85\nrate_pct = 6\n"
    "rate_kind = \"nominal\"\n";

// Six weeks, 80 km a day but on Sundays, ambient by the month: February is colder.
std::vector<Trip> winter_trips(double ambient_c = 2) {
  std::vector<Trip> out;
  for (int day = 0; day < 42; ++day) {
    if (day % 7 == 6) continue;
    Trip trip;
    trip.start = std::chrono::sys_days{std::chrono::year{2026} / 1 / 15} + days{day} + hours{9};
    trip.end = trip.start + hours{2};
    trip.distance_km = MaybeFigure::known(figure_of(80, 0.1, 0.8));
    const bool february = day >= 17;
    trip.net_kwh = MaybeFigure::known(figure_of(february ? 24 : 20, 0.1, 0.2));
    trip.ambient_mean_c = ambient_c + (february ? 0 : 4);
    trip.coverage = 1;
    trip.moving_kmh = 40;
    out.push_back(trip);
  }
  return out;
}

VanDuty duty_with(const std::vector<Trip>& trips, const Zone& zone) {
  VanParts parts;
  parts.trips = trips;
  return duty_of(parts, {}, zone, std::chrono::sys_days{std::chrono::year{2026} / 3 / 1});
}

CapacityRow pack(double kwh) {
  CapacityRow row;
  row.kwh = MaybeFigure::known(figure_of(kwh, 0, 1));
  row.date = std::chrono::sys_days{std::chrono::year{2026} / 2 / 20};
  return row;
}

bool keep_has(const std::string& text, const char* part) {
  return text.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE("keep: without [[keep]] the missing keys are listed, and no price is assumed") {
  const Zone zone = Zone::find("UTC").value();
  const VanKeep none = keep_van({}, {}, duty_with(winter_trips(), zone), {}, {}, zone, "GBP");
  CHECK_FALSE(none.told);
  CHECK(keep_has(none.why, "challenger_price"));
  CHECK(keep_has(none.why, "rate_kind"));
  // The van's own use stands in for the distance a year alone.
  CHECK_FALSE(keep_has(none.why, "miles_a_year"));
  CHECK(keep_has(keep_van({}, {}, {}, {}, {}, zone, "GBP").why, "miles_a_year"));
}

TEST_CASE("keep: years told one by one, of the van itself before those of every van") {
  const std::string by_year =
      "zone = \"UTC\"\ncurrency = \"JPY\"\n[[van]]\nname = \"Linden\"\n[[van]]\nname = \"Rowan\"\n"
      "[[keep]]\nchallenger_price = [19000, 21500, 24000]\n"
      "challenger_resale_by_year = [16000, [12500, 13000, 13500], 10000, 6000]\n"
      "challenger_repairs_by_year = [300, 600, 900, 3500]\n"
      "challenger_lost_days_a_year = 3\nresale_now = [7000, 8500, 9800]\n"
      "resale_next_year = [5200, 6600, 8000]\nrepairs_next_year = [700, 1500, 3500]\n"
      "lost_days_next_year = 8\nhire_per_lost_day = 85\nrate_pct = 6\nrate_kind = \"real\"\n"
      "[[keep]]\nvans = [\"Rowan\"]\nresale_by_year = [7900, 7300, 6700]\n"
      "repairs_by_year = [700, 700, 900]\n";
  const FleetRead read = parse_fleet(by_year, "fleet.toml");
  for (const Error& error : read.errors) CHECK(error.what == "");
  REQUIRE(read.errors.empty());
  const Zone& zone = read.fleet.zone;
  const auto told = [&](const char* van) {
    return keep_van(read.fleet.keep_of(van), 16'093.44, {}, {}, {}, zone, "JPY");
  };
  REQUIRE(told("Linden").told);
  CHECK(keep_has(told("Linden").reason, "one more year costs"));
  CHECK(keep_has(told("Linden").reason, "kept for 3 years, its cheapest"));
  REQUIRE(told("Rowan").told);
  CHECK(keep_has(told("Rowan").reason, "kept for 2 years more, which is best for it"));
  CHECK(told("Rowan").told->break_even_price.value > told("Linden").told->break_even_price.value);
  // Yen have no hundredths: a tenth of one is told of a mile.
  CHECK(keep_has(told("Rowan").reason, "which is best for it, it costs 0."));
  const auto wrong = parse_fleet(by_year + "resale_next_year = 6000\n", "fleet.toml");
  REQUIRE(wrong.errors.size() == 1);
  CHECK(keep_has(wrong.errors[0].what, "has resale_next_year or resale_by_year, not both"));
  CHECK(parse_fleet(by_year + "challenger_resale_by_year = [[3, 2, 1]]\n", "f").errors.size() >= 1);
}

TEST_CASE("keep: the van's own use is a year of it, with its source") {
  const Fleet fleet = parse_fleet(kKeep, "fleet.toml").fleet;
  const VanDuty duty = duty_with(winter_trips(), fleet.zone);
  const VanKeep told =
      keep_van(fleet.keep_of("Linden"), {}, duty, {}, {}, fleet.zone, fleet.currency);
  REQUIRE(told.told);
  // 80 km on six of seven days: 15,562 miles a year.
  CHECK(keep_has(told.reason, "15562 miles a year by its own use, 28 days to 2026-02-2"));
  CHECK(keep_has(told.reason, "GBP it is worth keeping"));
  CHECK(keep_has(told.reason, "nominal rate of 6 %"));
  // What it would fetch today decides, and moves no price.
  CHECK(told.inputs.find("resale_next_year: ") == 0);
  CHECK_FALSE(keep_has(told.inputs, "resale_now"));
  CHECK(keep_has(told.reason, "make firmer: resale_now, resale_next_year"));
  CHECK(
      keep_has(keep_van(fleet.keep_of("Linden"), 16'093.44, duty, {}, {}, fleet.zone, "GBP").reason,
               "10000 miles a year, as fleet.toml expects"));
  CHECK(told.told->break_even_price.low < told.told->break_even_price.high);
}

TEST_CASE("keep: the round is held against the range in the coldest month") {
  const Zone zone = Zone::find("UTC").value();
  const auto trips = winter_trips();
  const VanDuty duty = duty_with(trips, zone);
  const auto range = [&](double kwh) { return winter_range_of(trips, duty, {pack(kwh)}, zone); };
  const WinterRange wide = range(50);
  // 50 kWh at 0.3 kWh a km.
  CHECK(wide.range_km.figure->value == doctest::Approx(50 / 0.3).epsilon(1e-3));
  CHECK(wide.month == "2026-02");
  CHECK(*wide.round_km == doctest::Approx(80));
  CHECK(keep_has(wide.text, "it does its round"));
  CHECK(keep_has(range(24).text, "it may need a charge on the way"));
  CHECK(keep_has(range(12).text, "it needs a charge on the way"));
  CHECK(keep_has(winter_range_of(trips, duty, {}, zone).text, "no capacity in kWh is known"));
  CHECK(keep_has(winter_range_of(winter_trips(18), duty, {pack(50)}, zone).text, "no winter yet"));
  CHECK(keep_has(winter_range_of({}, {}, {pack(50)}, zone).text, "no month on record"));
  CHECK_FALSE(winter_range_of({}, {}, {}, zone).round_km);
  // What the van says of itself is no measurement, however new it is.
  CapacityRow said = pack(90);
  said.method = CapacityMethod::reported;
  said.date = *said.date + days{5};
  CHECK(winter_range_of(trips, duty, {pack(50), said}, zone).range_km.figure->value ==
        doctest::Approx(50 / 0.3).epsilon(1e-3));
  CHECK(keep_has(winter_range_of(trips, duty, {said}, zone).text, "no capacity in kWh is known"));
}

}  // namespace packmile::testing
