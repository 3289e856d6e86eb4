#include "ledger/fleet_money.hpp"

#include <doctest/doctest.h>

using namespace packmile;
using doctest::Approx;

namespace {

constexpr char kMoneyHead[] =
    "zone = \"Europe/London\"\ncurrency = \"GBP\"\n[[van]]\nname = \"Linden\"\n";

FleetRead read_money_text(const std::string& text) {
  return parse_fleet(kMoneyHead + text, "fleet.toml");
}

std::string mistakes_of(const std::string& text) {
  std::string out;
  for (const Error& e : read_money_text(text).errors) out += e.where + ": " + e.what + "\n";
  return out;
}

}  // namespace

TEST_CASE("fleet: tariffs, places, the meter and fixed costs arrive") {
  const FleetRead got = read_money_text(R"([[tariff]]
name = "night"
bands = [
  { from = "00:30", to = "05:30", price = 0.084 },
  { from = 05:30:00, to = "00:30", price = 0.30 },
]
standing_per_day = 0.47
price_includes_vat = true
[[tariff]]
name = "night"
valid_from = 2026-04-01
price = 0.25
[[tariff]]
name = "post"
clock = "utc"
price = 0.69
per_session = 0.35
per_minute = 0.02
[[place]]
name = "yard"
kind = "depot"
tariff = "night"
hours_from = "17:00"
hours_to = "06:00"
days = "mon-fri"
[[place]]
name = "market"
kind = "public"
tariff = "post"
driven_from_miles = 10
driven_to_km = 60
[depot_meter]
place = "yard"
vans = ["Linden"]
error_percent = 0.5
[[fixed_cost]]
name = "insurance"
per_year = 980
vans = ["Linden"]
from = 2026-01-01
)");
  for (const Error& e : got.errors) MESSAGE(e.where << ": " << e.what);
  REQUIRE(got.errors.empty());
  const MoneyFacts& money = got.fleet.money;
  REQUIRE(money.tariffs.size() == 2);
  REQUIRE(money.tariffs[0].lists.size() == 2);
  const PriceList& night = money.tariffs[0].lists[0];
  CHECK_FALSE(night.valid_from);
  CHECK(night.bands.front().to_min == 30);
  CHECK(night.bands.front().per_kwh == 0.30);
  CHECK(night.bands[1].per_kwh == 0.084);
  CHECK(night.bands.back().to_min == kWeekMinutes);
  CHECK(night.standing_per_day == 0.47);
  // A local day: British summer time has begun.
  CHECK(got.fleet.zone.iso(*money.tariffs[0].lists[1].valid_from) ==
        "2026-04-01T00:00:00.000+01:00");
  CHECK(money.tariffs[1].utc_clock);
  CHECK(money.tariffs[1].lists[0].per_minute == 0.02);
  REQUIRE(money.places.size() == 2);
  CHECK(money.places[0].hours->from_min == 17 * 60);
  CHECK(money.places[0].hours->days == 0x1F);
  CHECK(*money.places[1].driven_from_km == Approx(16.09344));
  CHECK(*money.places[1].driven_to_km == Approx(60));
  CHECK(money.meter->error_pct == 0.5);
  CHECK(money.metered_place() == &money.places[0]);
  REQUIRE(got.fleet.fixed_costs.size() == 1);
  CHECK(got.fleet.fixed_costs[0].per_year == 980);
}

TEST_CASE("fleet: bands that overlap or are missing are told with their hours") {
  CHECK(mistakes_of(R"([[tariff]]
name = "t"
bands = [ { from = "00:30", to = "05:30", price = 0.1 }, { from = "05:00", to = "00:30", price = 0.3 } ]
)") == "fleet.toml:7:58: this band overlaps one before it: 05:00 to 05:30 every day; each minute "
       "of the week has one price\n");
  CHECK(mistakes_of(R"([[tariff]]
name = "t"
bands = [ { from = "00:30", to = "05:30", price = 0.1 }, { from = "06:00", to = "24:00", price = 0.3, days = "mon-fri" } ]
)") == "fleet.toml:7:9: no band covers 00:00 to 00:30 every day, 05:30 to 06:00 on mon tue wed "
       "thu fri, 05:30 to 24:00 on sat sun: add one, so that each minute of the week has a "
       "price\n");
}

TEST_CASE("fleet: a band over midnight belongs to the day on which it begins") {
  const FleetRead got = read_money_text(R"([[tariff]]
name = "t"
bands = [
  { from = "20:00", to = "06:00", price = 0.1, days = "sun" },
  { from = "06:00", to = "06:00", price = 0.2, days = ["mon-sat"] },
  { from = "06:00", to = "20:00", price = 0.2, days = "sun" },
]
)");
  REQUIRE(got.errors.empty());
  const auto& bands = got.fleet.money.tariffs[0].lists[0].bands;
  REQUIRE(bands.size() == 3);
  CHECK(bands[0].to_min == 6 * 60);  // the end of Sunday's night is on Monday
  CHECK(bands[0].per_kwh == 0.1);
  CHECK(bands[2].from_min == 6 * kDayMinutes + 20 * 60);
}

TEST_CASE("fleet: mistakes in money are told with place, nearest name and allowed values") {
  CHECK(mistakes_of("[[tariff]]\nname = \"t\"\nprise = 0.3\n") ==
        "fleet.toml:5:1: [[tariff]] lacks price, or bands with a price each\n"
        "fleet.toml:7:1: unknown key 'prise' in [[tariff]]; did you mean 'price'?\n");
  CHECK(mistakes_of("[[tariff]]\nname = \"t\"\nprice = -1\n")
            .starts_with("fleet.toml:7:9: price must be a number from 0 to"));
  CHECK(mistakes_of("[[tariff]]\nname = \"t\"\nprice = 1\nclock = \"GMT\"\n") ==
        "fleet.toml:8:9: clock must be \"local\" (the clock on the wall) or \"utc\", not 'GMT'\n");
  CHECK(mistakes_of("[[tariff]]\nname = \"t\"\nprice = 1\n[[tariff]]\nname = \"t\"\nprice = 2\n") ==
        "fleet.toml:8:1: tariff 't' stands twice without valid_from: several blocks of one name "
        "need valid_from, each its own day\n");
  CHECK(mistakes_of("[[place]]\nname = \"p\"\nkind = \"home\"\n") ==
        "fleet.toml:7:8: kind must be \"depot\" or \"public\", not 'home'\n");
  CHECK(mistakes_of("[[tariff]]\nname = \"night\"\nprice = 1\n[[place]]\nname = \"p\"\nkind = "
                    "\"depot\"\ntariff = \"nigth\"\n") ==
        "fleet.toml:11:10: fleet.toml has no [[tariff]] of the name 'nigth'; did you mean "
        "'night'?\n");
  CHECK(mistakes_of("[[fixed_cost]]\nname = \"i\"\nper_year = 1\nvans = [\"Lindne\"]\n") ==
        "fleet.toml:8:8: vans names a van that is not there: fleet.toml has no [[van]] of the name "
        "'Lindne'; did you mean 'Linden'?\n");
  CHECK(mistakes_of("[[place]]\nname = \"p\"\nkind = \"depot\"\nhours_from = \"25:00\"\n")
            .find("hours_from must be a time of day in whole minutes such as \"23:30\"") !=
        std::string::npos);
  CHECK(mistakes_of("[[tariff]]\nname = \"t\"\nprice = 1\nvalid_from = \"2026-02-30\"\n") ==
        "fleet.toml:8:14: valid_from must be a day such as 2026-04-01\n");
  CHECK(mistakes_of("[depot_meter]\nplace = \"yard\"\n") ==
        "fleet.toml:6:9: place must be the name of a place: fleet.toml has no [[place]] of the "
        "name 'yard'\n");
  CHECK(mistakes_of("tariff = 1\n").find("unknown key") != std::string::npos);
}

// Every key of the template, with its comment signs taken away, is right.
TEST_CASE("fleet: the template's money blocks are what is read") {
  std::string text;
  std::string line;
  for (const char c : std::string{money_template()} + "\n") {
    if (c != '\n') {
      line += c;
      continue;
    }
    if (line.starts_with("#") && !line.starts_with("# ") && line != "#")
      text += line.substr(1) + "\n";
    line.clear();
  }
  const FleetRead got = read_money_text(text);
  for (const Error& e : got.errors) MESSAGE(e.where << ": " << e.what << "\n" << text);
  CHECK(got.errors.empty());
  CHECK(got.fleet.money.tariffs.size() == 1);
  CHECK(got.fleet.money.places.size() == 1);
  CHECK(got.fleet.money.meter);
  CHECK(got.fleet.fixed_costs.size() == 1);
}

TEST_CASE("fleet: labour has a rate") {
  CHECK(parse_fleet("zone = \"UTC\"\ncurrency = \"GBP\"\nlabour_rate = 32\n", "f")
            .fleet.labour_rate == 32.0);
  CHECK(
      parse_fleet("zone = \"UTC\"\ncurrency = \"GBP\"\nlabour_rate = \"x\"\n", "f").errors.size() ==
      1);
}
