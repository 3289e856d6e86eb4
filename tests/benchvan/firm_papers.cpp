#include "benchvan/firm_papers.hpp"

#include <fmt/format.h>

#include "benchvan/bench_error.hpp"
#include "benchvan/month_plan.hpp"
#include "benchvan/pack_model.hpp"
#include "benchvan/prices.hpp"

namespace packmile::benchvan {
namespace {

// What is told of one van.
struct Papers {
  std::string_view van;
  std::string_view first_used;
  FirmPurchase purchase;
  std::string_view lines;  // of its [[van]]
  // What it would fetch today and in a year, what it may need then, days without it.
  double resale_now, resale_next_year, repairs;
  int lost_days;
};

constexpr std::array<Papers, kFirmVans> kPapers{{
    {"alder",
     "2024-05-14",
     {"2024-05-14", 27400, 18},
     R"(warranty = [
  { name = "vehicle", miles = 60000, years = 3, from = 2024-05-14 },
  { name = "pack", miles = 100000, years = 8, from = 2024-05-14 } ]
)",
     17200,
     14100,
     900,
     3},
    {"aspen",
     "2023-03-01",
     {"2023-03-01", 26900, 11},
     R"(warranty = [
  { name = "vehicle", miles = 60000, years = 3, from = 2023-03-01 },
  { name = "pack", miles = 100000, years = 8, from = 2023-03-01 } ]
)",
     11800,
     9300,
     1900,
     6},
    {"hazel", "2023-06-20", {"2024-01-08", 17600, 9350}, "", 12900, 10600, 1500, 5},
    {"rowan",
     "2022-09-12",
     {"2022-09-12", 26200, 15},
     R"(warranty = [
  { name = "pack", miles = 100000, years = 8, from = 2022-09-12 } ]
)",
     8600,
     5900,
     3400,
     12},
    {"willow",
     "2024-02-05",
     {"2024-02-05", 27100, 16},
     R"(warranty = [
  { name = "vehicle", miles = 60000, years = 3, from = 2024-02-05 },
  { name = "pack", miles = 100000, years = 8, from = 2024-02-05 } ]
)",
     16400,
     13300,
     900,
     3},
}};

constexpr std::string_view kRest = R"(
[depot_meter]
place = "Yard"
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
challenger_resale_by_year = [[22000, 23500, 25000], [18500, 20000, 21500], [15500, 17000, 18500], [11500, 13500, 15500], [8500, 10500, 12500]]
challenger_repairs_by_year = [[200, 350, 600], [300, 500, 900], [450, 750, 1200], [600, 1000, 1700], [900, 1400, 2400]]
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

constexpr std::string_view kKeep = R"(
[[keep]]
vans = ["{}"]
resale_now = [{}, {}, {}]
resale_next_year = [{}, {}, {}]
repairs_next_year = [{}, {}, {}]
lost_days_next_year = [{}, {}, {}]
)";

std::string keep_text(const Papers& of, double factor) {
  const double now = factor * of.resale_now, next = factor * of.resale_next_year;
  return fmt::format(kKeep, of.van, 0.9 * now, now, 1.1 * now, 0.88 * next, next, 1.12 * next,
                     0.5 * of.repairs, of.repairs, 2 * of.repairs, of.lost_days / 2, of.lost_days,
                     2 * of.lost_days);
}

const Papers& papers_of(std::string_view van) {
  for (const Papers& papers : kPapers)
    if (papers.van == van) return papers;
  throw BenchError(fmt::format("the firm has no van '{}'", van));
}

}  // namespace

const FirmPurchase& firm_purchase(std::string_view van) { return papers_of(van).purchase; }

std::string firm_fleet_toml(const std::array<FirmVan, kFirmVans>& vans) {
  std::string out = "zone = \"Europe/London\"\ncurrency = \"GBP\"\nlabour_rate = 34\n";
  for (const FirmVan& van : vans) {
    out += fmt::format(
        "\n[[van]]\nname = \"{}\"\nvin = \"{}\"\nnominal_kwh = {:.1f}\nnominal_ah = {:.1f}\n"
        "onboard_charger_kw = {:.1f}\nplated_weight_kg = 3500\n"
        "unladen_weight_kg = 2180\n",
        van.name, van.vin, kNominalKwh, kNominalAh, kOnboardChargerKw);
    const Papers& papers = papers_of(van.name);
    out +=
        fmt::format("first_used = {}\npurchase = {{ day = {}, sum = {}, odometer_km = {} }}\n{}{}",
                    papers.first_used, papers.purchase.day, papers.purchase.sum,
                    papers.purchase.odometer_km, papers.lines, van.expectation);
  }
  out += price_blocks();
  out += kRest;
  for (const FirmVan& van : vans) {
    const Papers& papers = papers_of(van.name);
    out +=
        fmt::format(kCharger, papers.van, papers.first_used) + keep_text(papers, van.resale_factor);
  }
  return out;
}

}  // namespace packmile::benchvan
