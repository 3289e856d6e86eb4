#include "benchvan/firm_papers.hpp"

#include <fmt/format.h>

#include "benchvan/month_plan.hpp"
#include "benchvan/pack_model.hpp"

namespace packmile::benchvan {
namespace {

// What is told of one van, as lines of its [[van]].
struct Papers {
  std::string_view van;
  std::string_view lines;
};

constexpr std::array<Papers, 5> kPapers{{
    {"alder", R"(first_used = 2024-05-14
purchase = { day = 2024-05-14, sum = 27400, odometer_km = 18 }
warranty = [
  { name = "vehicle", miles = 60000, years = 3, from = 2024-05-14 },
  { name = "pack", miles = 100000, years = 8, from = 2024-05-14 } ]
)"},
    {"aspen", R"(first_used = 2023-03-01
purchase = { day = 2023-03-01, sum = 26900, odometer_km = 11 }
warranty = [
  { name = "vehicle", miles = 60000, years = 3, from = 2023-03-01 },
  { name = "pack", miles = 100000, years = 8, from = 2023-03-01 } ]
)"},
    {"hazel", R"(first_used = 2023-06-20
purchase = { day = 2024-01-08, sum = 17600, odometer_km = 9350 }
)"},
    {"rowan", R"(first_used = 2022-09-12
purchase = { day = 2022-09-12, sum = 26200, odometer_km = 15 }
warranty = [
  { name = "pack", miles = 100000, years = 8, from = 2022-09-12 } ]
expectation = [ { at_km = 50000, percent = 96 }, { at_km = 100000, percent = 93 }, { at_km = 250000, percent = 85 } ]
)"},
    {"willow", R"(first_used = 2024-02-05
purchase = { day = 2024-02-05, sum = 27100, odometer_km = 16 }
warranty = [
  { name = "vehicle", miles = 60000, years = 3, from = 2024-02-05 },
  { name = "pack", miles = 100000, years = 8, from = 2024-02-05 } ]
)"},
}};

constexpr std::string_view kRest = R"(
[[tariff]]
name = "yard"
bands = [
  { from = "00:00", to = "06:00", price = 0.094 },
  { from = "06:00", to = "00:00", price = 0.281 },
]
standing_per_day = 0.55

[[tariff]]
name = "post"
price = 0.64

[[place]]
name = "yard"
kind = "depot"
tariff = "yard"
hours_from = "16:00"
hours_to = "06:00"

[[place]]
name = "Mill Lane"
kind = "public"
tariff = "post"

[depot_meter]
place = "yard"
vans = ["hazel"]

[[fixed_cost]]
name = "insurance"
per_year = 1120

[[part]]
name = "tyre"
positions = ["fl", "fr", "rl", "rr"]
gauge = "tread"
least_mm = 3.0
limit_years = 8

[[part]]
name = "brake pads"
positions = ["front", "rear"]
gauge = "pad"
least_mm = 3.0

[[part]]
name = "brake fluid"
limit_years = 2

[[part]]
name = "cabin filter"
limit_miles = 15000
limit_months = 12

[[part]]
name = "gear oil"
limit_miles = 75000
limit_years = 6

[[keep]]
challenger_price = [25500, 27500, 29500]
challenger_years = 5
challenger_resale = [8500, 10500, 12500]
challenger_repairs_a_year = [500, 800, 1300]
challenger_lost_days_a_year = [1, 2, 5]
hire_per_lost_day = 78
rate_pct = 6
rate_kind = "nominal"
miles_a_year = [19000, 20500, 22000]
)";

// A part of one van since it was new.
constexpr std::string_view kCharger = R"(
[[part]]
name = "on-board charger"
vans = ["{}"]
limit_hours = 10000
counts = "charger"
fitted = {}
)";

// What one of the vans would fetch and may need next year.
constexpr std::string_view kKeepOne = R"(
[[keep]]
vans = ["{}"]
resale_now = [{}, {}, {}]
resale_next_year = [{}, {}, {}]
repairs_next_year = [{}, {}, {}]
lost_days_next_year = [{}, {}, {}]
)";

std::string keep_one(std::string_view van, double now, double next, double repairs, int days) {
  return fmt::format(fmt::runtime(kKeepOne), van, 0.9 * now, now, 1.1 * now, 0.88 * next, next,
                     1.12 * next, 0.5 * repairs, repairs, 2 * repairs, days / 2, days, 2 * days);
}

}  // namespace

std::string firm_fleet_toml(const std::array<FirmVan, 5>& vans) {
  std::string out = "zone = \"Europe/London\"\ncurrency = \"GBP\"\nlabour_rate = 34\n";
  for (const FirmVan& van : vans) {
    out += fmt::format(
        "\n[[van]]\nname = \"{}\"\nvin = \"{}\"\nnominal_kwh = {:.1f}\nnominal_ah = {:.1f}\n"
        "onboard_charger_kw = {:.1f}\nplated_weight_kg = 3500\n",
        van.name, van.vin, kNominalKwh, kNominalAh, kOnboardChargerKw);
    for (const Papers& papers : kPapers)
      if (papers.van == van.name) out += papers.lines;
  }
  out += kRest;
  for (const Papers& papers : kPapers) {
    constexpr std::string_view kKey = "first_used = ";
    const std::size_t at = papers.lines.find(kKey) + kKey.size();
    out += fmt::format(fmt::runtime(kCharger), papers.van,
                       papers.lines.substr(at, papers.lines.find('\n', at) - at));
  }
  out += keep_one("alder", 17200, 14100, 900, 3);
  out += keep_one("aspen", 11800, 9300, 1900, 6);
  out += keep_one("hazel", 12900, 10600, 1500, 5);
  out += keep_one("rowan", 8600, 5900, 3400, 12);
  out += keep_one("willow", 16400, 13300, 900, 3);
  return out;
}

}  // namespace packmile::benchvan
