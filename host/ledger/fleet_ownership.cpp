#include "ledger/fleet_ownership.hpp"

#include <cmath>
#include <limits>
#include <optional>

namespace packmile {
namespace {

using std::chrono::year_month_day;

// Further, longer and heavier than any van (common practice, no source): catches
// a digit too many.
constexpr double kMostVanKm = 2'000'000;
constexpr double kMostVanYears = 50;
constexpr double kMostAnnualKm = 500'000;
constexpr double kMostWeightKg = 60'000;
constexpr double kLeastWeightKg = 300;
// Some currencies write a van in hundreds of millions.
constexpr double kMostVanSum = 1'000'000'000;
constexpr std::size_t kLongestWarrantyNameBytes = 64;
constexpr double kMonthsAYearOfWarranty = 12;
constexpr std::chrono::year kEarliestYear{1990}, kLatestYear{2200};

// A number in a range, into a member that is empty before.
template <typename T>
auto bounded_key(std::optional<double> T::*member, std::string_view unit, double least, double most,
                 bool least_is_right = true) {
  return [=](T& out, const toml::node& node) -> std::string {
    const double value =
        node.is_number() ? node.value<double>().value_or(std::numeric_limits<double>::quiet_NaN())
                         : std::numeric_limits<double>::quiet_NaN();
    const bool right = value <= most && (least_is_right ? value >= least : value > least);
    if (!right)
      return fmt::format("must be a number {} {} and at most {}{}{}",
                         least_is_right ? "from" : "above", least, most, unit.empty() ? "" : " ",
                         unit);
    out.*member = value;
    return {};
  };
}

template <typename T>
auto day_key(std::optional<year_month_day> T::*member) {
  return [=](T& out, const toml::node& node) -> std::string {
    const auto* date = node.as_date();
    if (date == nullptr) return "must be a day such as 2024-02-29, without quotes";
    const year_month_day day{std::chrono::year{date->get().year},
                             std::chrono::month{date->get().month},
                             std::chrono::day{date->get().day}};
    if (!day.ok() || day.year() < kEarliestYear || day.year() > kLatestYear)
      return fmt::format("must be a day from {} to {}", int{kEarliestYear}, int{kLatestYear});
    out.*member = day;
    return {};
  };
}

double most_miles(double km) { return std::floor(km / kKmPerMile); }

// Km of a distance that may be written either way; absent: in neither.
struct WrittenDistance {
  std::optional<double> km, miles;
  [[nodiscard]] std::optional<double> in_km() const {
    return miles ? std::optional{*miles * kKmPerMile} : km;
  }
};

bool written_twice(const toml::table& table, const char* km, const char* miles,
                   std::string_view title, Complaints& complaints) {
  if (!table.contains(km) || !table.contains(miles)) return false;
  complaints.error(table.get(miles)->source(),
                   fmt::format("{} has {} or {}, not both", title, km, miles));
  return true;
}

struct WrittenPurchase {
  std::optional<year_month_day> day;
  std::optional<double> sum, odometer_km, odometer_miles;
};

constexpr char kPurchaseForm[] =
    "purchase must be written as { day = 2024-02-29, sum = 18500, odometer_miles = 12 }, with "
    "odometer_km in place of odometer_miles or neither";

void read_purchase(const toml::node& node, FleetVan& van, Complaints& complaints) {
  const auto* table = node.as_table();
  if (table == nullptr) return complaints.error(node.source(), kPurchaseForm);
  static const std::vector<Key<WrittenPurchase>> keys{
      {"day", true, day_key(&WrittenPurchase::day)},
      {"sum", true, bounded_key(&WrittenPurchase::sum, "", 0, kMostVanSum)},
      {"odometer_km", false, bounded_key(&WrittenPurchase::odometer_km, "km", 0, kMostVanKm)},
      {"odometer_miles", false,
       bounded_key(&WrittenPurchase::odometer_miles, "miles", 0, most_miles(kMostVanKm))},
  };
  const std::size_t before = complaints.count();
  WrittenPurchase written;
  read_table(*table, keys, {}, "purchase", written, complaints);
  written_twice(*table, "odometer_km", "odometer_miles", "purchase", complaints);
  if (complaints.count() != before) return;
  van.purchase = {*written.day, *written.sum,
                  WrittenDistance{written.odometer_km, written.odometer_miles}.in_km()};
}

struct WrittenWarranty {
  std::string name;
  std::optional<double> km, miles, years, from_km, from_miles;
  std::optional<year_month_day> from;
};

constexpr char kWarrantyForm[] =
    "warranty must be a list such as [ { name = \"pack\", miles = 100000, years = 8, from = "
    "2024-02-29 } ]";

std::string read_warranty_name(WrittenWarranty& written, const toml::node& node) {
  if (auto wrong = read_text(node, written.name); !wrong.empty()) return wrong;
  if (written.name.empty() || written.name.size() > kLongestWarrantyNameBytes)
    return fmt::format("must have 1 to {} bytes", kLongestWarrantyNameBytes);
  if (std::ranges::any_of(written.name, [](unsigned char c) { return c < 0x20 || c == 0x7F; }))
    return "must not hold control characters";
  return {};
}

void read_warranty(const toml::table& table, FleetVan& van, Complaints& complaints) {
  static const std::vector<Key<WrittenWarranty>> keys{
      {"name", true, read_warranty_name},
      {"km", false, bounded_key(&WrittenWarranty::km, "km", 0, kMostVanKm, false)},
      {"miles", false,
       bounded_key(&WrittenWarranty::miles, "miles", 0, most_miles(kMostVanKm), false)},
      {"years", false, bounded_key(&WrittenWarranty::years, "years", 0, kMostVanYears, false)},
      {"from", false, day_key(&WrittenWarranty::from)},
      {"from_km", false, bounded_key(&WrittenWarranty::from_km, "km", 0, kMostVanKm)},
      {"from_miles", false,
       bounded_key(&WrittenWarranty::from_miles, "miles", 0, most_miles(kMostVanKm))},
  };
  const std::size_t before = complaints.count();
  WrittenWarranty written;
  read_table(table, keys, {}, "warranty", written, complaints);
  written_twice(table, "km", "miles", "warranty", complaints);
  written_twice(table, "from_km", "from_miles", "warranty", complaints);
  if (complaints.count() != before) return;
  const auto wrong = [&](std::string what) {
    complaints.error(table.source(),
                     fmt::format("warranty '{}' {}", written.name, std::move(what)));
  };
  Warranty out;
  out.name = written.name;
  out.limit_km = WrittenDistance{written.km, written.miles}.in_km();
  out.limit_years = written.years;
  out.from_day = written.from;
  out.from_km = WrittenDistance{written.from_km, written.from_miles}.in_km().value_or(0);
  if (!out.limit_km && !out.limit_years) return wrong("ends nowhere: it needs years, miles or km");
  if (out.limit_years) {
    const double months = *out.limit_years * kMonthsAYearOfWarranty;
    if (std::round(months) < 1 || std::abs(months - std::round(months)) > 1e-6)
      return wrong("has years that are no whole months");
  }
  if (out.limit_years && !out.from_day)
    return wrong("lacks the key 'from': the day from which its years count");
  if (std::ranges::find(van.warranties, out.name, &Warranty::name) != van.warranties.end())
    return wrong("stands twice for this van");
  van.warranties.push_back(std::move(out));
}

void read_warranties(const toml::node& node, FleetVan& van, Complaints& complaints) {
  const auto* list = node.as_array();
  if (list == nullptr || list->empty()) return complaints.error(node.source(), kWarrantyForm);
  for (auto&& element : *list) {
    if (const auto* table = element.as_table())
      read_warranty(*table, van, complaints);
    else
      complaints.error(element.source(), kWarrantyForm);
  }
}

struct WrittenUse {
  std::optional<year_month_day> first_used;
  std::optional<double> annual_km, annual_miles, plated_weight_kg, unladen_weight_kg;
};

}  // namespace

void read_ownership(const toml::table& table, FleetVan& van, Complaints& complaints) {
  if (const auto* purchase = table.get("purchase")) read_purchase(*purchase, van, complaints);
  if (const auto* warranty = table.get("warranty")) read_warranties(*warranty, van, complaints);
  static const std::vector<Key<WrittenUse>> keys{
      {"first_used", false, day_key(&WrittenUse::first_used)},
      {"annual_km", false, bounded_key(&WrittenUse::annual_km, "km", 0, kMostAnnualKm, false)},
      {"annual_miles", false,
       bounded_key(&WrittenUse::annual_miles, "miles", 0, most_miles(kMostAnnualKm), false)},
      {"plated_weight_kg", false,
       bounded_key(&WrittenUse::plated_weight_kg, "kg", kLeastWeightKg, kMostWeightKg)},
      {"unladen_weight_kg", false,
       bounded_key(&WrittenUse::unladen_weight_kg, "kg", kLeastWeightKg, kMostWeightKg)},
  };
  WrittenUse use;
  for (const auto& key : keys)
    if (const auto* node = table.get(key.name))
      if (auto wrong = key.read(use, *node); !wrong.empty())
        complaints.error(node->source(), fmt::format("{} {}", key.name, wrong));
  written_twice(table, "annual_km", "annual_miles", "[[van]]", complaints);
  van.annual_km = WrittenDistance{use.annual_km, use.annual_miles}.in_km();
  van.plated_weight_kg = use.plated_weight_kg;
  if (use.first_used) van.facts.first_used = std::chrono::sys_days{*use.first_used};
  van.unladen_weight_kg = use.unladen_weight_kg;
  if (van.plated_weight_kg && van.unladen_weight_kg &&
      *van.unladen_weight_kg >= *van.plated_weight_kg)
    complaints.error(table.get("unladen_weight_kg")->source(),
                     "unladen_weight_kg must be below plated_weight_kg");
}

std::string_view ownership_template() {
  return R"(#first_used = 2024-02-29       # day on which anybody first used it: its pack's age counts from here
# What was paid for the van, on which day, with what on its odometer (odometer_km or
# odometer_miles); leave it out for a van that is hired or leased.
#purchase = { day = 2024-02-29, sum = 18500, odometer_miles = 12 }
# Every promise that the maker or the seller still stands by: a name of your own, and
# where it ends, by the odometer (miles or km), by years from a day, or whichever comes
# first. from_miles or from_km: what the odometer had when it began, 0 if left out.
#warranty = [
#{ name = "vehicle", miles = 60000, years = 3, from = 2024-02-29 },
#{ name = "pack", miles = 100000, years = 8, from = 2024-02-29 } ]
#annual_miles = 12000           # what it is expected to drive in a year; or annual_km
#plated_weight_kg = 3500        # greatest weight allowed, from its plate: which tread is legal
#unladen_weight_kg = 2150       # the empty van: with the other, what its brakes have to stop
)";
}

}  // namespace packmile
