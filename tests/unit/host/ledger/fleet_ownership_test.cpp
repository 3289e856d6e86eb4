#include <doctest/doctest.h>

#include "ledger/fleet.hpp"

using namespace packmile;
using namespace std::chrono_literals;

namespace {

FleetRead with(const std::string& lines) {
  return parse_fleet(
      "zone = \"Europe/London\"\ncurrency = \"GBP\"\n[[van]]\nname = \"Linden\"\n" + lines,
      "fleet.toml");
}

// "where: what" of each mistake.
std::string mistakes(const std::string& lines) {
  std::string out;
  for (const Error& error : with(lines).errors)
    out += (out.empty() ? "" : "\n") + error.where + ": " + error.what;
  return out;
}

FleetVan van(const std::string& lines) {
  CHECK(mistakes(lines) == "");
  return with(lines).fleet.vans.at(0);
}

}  // namespace

// 1 mile = 1.609344 km: 60,000 miles are 96,560.64 km.
TEST_CASE("fleet ownership: every key arrives, in km whatever it was written in") {
  const FleetVan all =
      van("purchase = { day = 2024-02-29, sum = 18500.50, odometer_miles = 100 }\n"
          "warranty = [ { name = \"vehicle\", miles = 60000, years = 3, from = 2024-02-29 },\n"
          "  { name = \"paint\", years = 2.5, from = 2025-01-01 },\n"
          "  { name = \"gearbox\", km = 20000, from_km = 81000 } ]\n"
          "annual_miles = 12000\nplated_weight_kg = 3501\n");
  REQUIRE(all.purchase);
  CHECK(all.purchase->day == 2024y / 2 / 29);
  CHECK(all.purchase->sum == 18500.5);
  CHECK(all.purchase->odometer_km.value() == doctest::Approx(160.9344));
  REQUIRE(all.warranties.size() == 3);
  CHECK(all.warranties[0].limit_km.value() == doctest::Approx(96560.64));
  CHECK(all.warranties[0].limit_years == 3);
  CHECK(all.warranties[0].from_day == 2024y / 2 / 29);
  CHECK(all.warranties[0].from_km == 0);
  CHECK_FALSE(all.warranties[1].limit_km);
  CHECK(all.warranties[2].limit_km == 20000);
  CHECK(all.warranties[2].from_km == 81000);
  CHECK_FALSE(all.warranties[2].from_day);
  CHECK(all.annual_km.value() == doctest::Approx(19312.128));
  CHECK(all.plated_weight_kg == 3501);

  const FleetVan none = van("");
  CHECK_FALSE(none.purchase);
  CHECK(none.warranties.empty());
  CHECK_FALSE(none.annual_km);
  CHECK_FALSE(none.plated_weight_kg);
  // A van that was given away for nothing was bought; km as they are.
  CHECK(van("purchase = { day = 2024-02-29, sum = 0, odometer_km = 5 }\n").purchase->odometer_km ==
        5);
  CHECK_FALSE(van("purchase = { day = 2024-02-29, sum = 1 }\n").purchase->odometer_km);
  CHECK(van("annual_km = 19000\n").annual_km == 19000);
}

TEST_CASE("fleet ownership: the day of first use") {
  CHECK(van("first_used = 2024-02-29\n").facts.first_used == std::chrono::sys_days{2024y / 2 / 29});
  CHECK_FALSE(van("").facts.first_used);
  CHECK(mistakes("first_used = \"2024-02-29\"\n") ==
        "fleet.toml:5:14: first_used must be a day such as 2024-02-29, without quotes");
  CHECK(mistakes("first_used = 1024-02-29\n") ==
        "fleet.toml:5:14: first_used must be a day from 1990 to 2200");
}

TEST_CASE("fleet ownership: what is wrong has its place and says what is right") {
  CHECK(mistakes("purchase = 18500\n")
            .starts_with(
                "fleet.toml:5:12: purchase must be written as { day = 2024-02-29, sum = 18500"));
  CHECK(mistakes("purchase = { sum = 18500 }\n") ==
        "fleet.toml:5:12: purchase lacks the key 'day'");
  CHECK(mistakes("purchase = { day = 2024-02-29, summ = 5 }\n") ==
        "fleet.toml:5:12: purchase lacks the key 'sum'\n"
        "fleet.toml:5:32: unknown key 'summ' in purchase; did you mean 'sum'?");
  CHECK(mistakes("purchase = { day = \"2024-02-29\", sum = 5 }\n") ==
        "fleet.toml:5:20: day must be a day such as 2024-02-29, without quotes");
  CHECK(mistakes("purchase = { day = 1024-02-29, sum = 5 }\n") ==
        "fleet.toml:5:20: day must be a day from 1990 to 2200");
  // No such day: TOML itself says so.
  CHECK(mistakes("purchase = { day = 2023-02-29, sum = 5 }\n").starts_with("fleet.toml:5:"));
  CHECK(mistakes("purchase = { day = 2024-02-29, sum = -1 }\n") ==
        "fleet.toml:5:38: sum must be a number from 0 and at most 1000000000");
  CHECK(mistakes("purchase = { day = 2024-02-29, sum = nan }\n").find("sum must be") !=
        std::string::npos);
  CHECK(mistakes("purchase = { day = 2024-02-29, sum = 1, odometer_km = 1, odometer_miles = 1 }\n")
            .find("purchase has odometer_km or odometer_miles, not both") != std::string::npos);

  CHECK(mistakes("warranty = { name = \"pack\", years = 8, from = 2024-02-29 }\n")
            .starts_with("fleet.toml:5:12: warranty must be a list such as [ { name = \"pack\""));
  CHECK(mistakes("warranty = [ 8 ]\n").starts_with("fleet.toml:5:14: warranty must be a list"));
  CHECK(mistakes("warranty = [ { name = \"pack\" } ]\n") ==
        "fleet.toml:5:14: warranty 'pack' ends nowhere: it needs years, miles or km");
  CHECK(mistakes("warranty = [ { name = \"pack\", years = 0.01, from = 2024-02-29 } ]\n") ==
        "fleet.toml:5:14: warranty 'pack' has years that are no whole months");
  CHECK(mistakes("warranty = [ { name = \"pack\", years = 2.5, from = 2024-02-29 } ]\n") == "");
  CHECK(mistakes("warranty = [ { name = \"pack\", years = 8 } ]\n") ==
        "fleet.toml:5:14: warranty 'pack' lacks the key 'from': the day from which its years "
        "count");
  CHECK(mistakes("warranty = [ { name = \"pack\", km = 8 },\n{ name = \"pack\", km = 9 } ]\n") ==
        "fleet.toml:6:1: warranty 'pack' stands twice for this van");
  CHECK(mistakes("warranty = [ { name = \"pack\", km = 8, mils = 9 } ]\n")
            .find("did you mean 'miles'?") != std::string::npos);
  CHECK(mistakes("warranty = [ { name = \"pack\", km = 0 } ]\n") ==
        "fleet.toml:5:36: km must be a number above 0 and at most 2000000 km");
  CHECK(mistakes("warranty = [ { name = \"\", km = 5 } ]\n").find("must have 1 to 64 bytes") !=
        std::string::npos);

  CHECK(mistakes("annual_km = 5\nannual_miles = 5\n") ==
        "fleet.toml:6:16: [[van]] has annual_km or annual_miles, not both");
  CHECK(mistakes("annual_km = 0\n") ==
        "fleet.toml:5:13: annual_km must be a number above 0 and at most 500000 km");
  CHECK(mistakes("plated_weight_kg = 3.5\n") ==
        "fleet.toml:5:20: plated_weight_kg must be a number from 300 and at most 60000 kg");
  CHECK(mistakes("plated_weight = 3500\n") ==
        "fleet.toml:5:1: unknown key 'plated_weight' in [[van]]");
  CHECK(mistakes("plated_weight_kgs = 3500\n").find("did you mean 'plated_weight_kg'?") !=
        std::string::npos);
  CHECK(mistakes("warrenty = []\n").find("did you mean 'warranty'?") != std::string::npos);
}
