#include "ledger/fleet.hpp"

#include <array>
#include <cmath>
#include <fstream>
#include <limits>
#include <sstream>

#include "ledger/fleet_keep.hpp"
#include "ledger/fleet_money.hpp"
#include "ledger/fleet_ownership.hpp"
#include "ledger/fleet_parts.hpp"
#include "ledger/fleet_signals.hpp"
#include "ledger/toml_keys.hpp"
#include "ledger/vin.hpp"

namespace packmile {
namespace {

// A fleet of ten thousand vans fits; more is not a settings file.
constexpr std::uintmax_t kLargestFileBytes = 16 << 20;
constexpr std::size_t kLongestNameBytes = 64;

// A positive number; `most` catches a slip of the decimal point or of the unit.
template <typename T>
auto number_key(std::optional<double> T::*member, std::string_view unit, double most) {
  return [member, unit, most](FleetVan& van, const toml::node& node) -> std::string {
    if (!node.is_number()) return fmt::format("must be a number of {}", unit);
    const double value = node.value<double>().value_or(std::numeric_limits<double>::quiet_NaN());
    if (!(value > 0 && value <= most))
      return fmt::format("must be more than 0 and at most {} {}", most, unit);
    van.facts.*member = value;
    return {};
  };
}

std::string read_name(FleetVan& van, const toml::node& node) {
  if (auto wrong = read_text(node, van.name); !wrong.empty()) return wrong;
  if (van.name.empty() || van.name.size() > kLongestNameBytes)
    return fmt::format("must have 1 to {} bytes", kLongestNameBytes);
  if (std::ranges::any_of(van.name, [](unsigned char c) { return c < 0x20 || c == 0x7F; }))
    return "must not hold control characters";
  return {};
}

std::string read_vin(FleetVan& van, const toml::node& node) {
  if (auto wrong = read_text(node, van.vin); !wrong.empty()) return wrong;
  if (!is_vin(van.vin)) return "must be 17 capital letters and digits without I, O and Q";
  return {};
}

std::string read_zone(Fleet& fleet, const toml::node& node) {
  std::string name;
  if (auto wrong = read_text(node, name); !wrong.empty()) return wrong;
  auto zone = Zone::find(name);
  if (!zone) return "must be an IANA time zone such as Europe/London or UTC, not '" + name + "'";
  fleet.zone = *zone;
  return {};
}

std::string read_currency(Fleet& fleet, const toml::node& node) {
  if (auto wrong = read_text(node, fleet.currency); !wrong.empty()) return wrong;
  if (fleet.currency.size() != 3 ||
      !std::ranges::all_of(fleet.currency, [](char c) { return c >= 'A' && c <= 'Z'; }))
    return "must be three capital letters (ISO 4217), such as GBP";
  return {};
}

// More is a slip of the decimal point, in any currency (common practice, no source).
constexpr double kMostLabourRate = 1e6;

std::string read_labour_rate(Fleet& fleet, const toml::node& node) {
  const double value = node.is_number() ? node.value<double>().value_or(-1) : -1;
  if (!(value >= 0 && value <= kMostLabourRate))
    return fmt::format("must be a number from 0 to {} of the currency", kMostLabourRate);
  fleet.labour_rate = value;
  return {};
}

// The largest pack and charger of a road vehicle known are well below these
// (common practice, no source).
constexpr double kLargestPackKwh = 2000;
constexpr double kLargestPackAh = 5000;
constexpr double kLargestChargerKw = 100;

const std::vector<Key<FleetVan>>& van_keys() {
  static const std::vector<Key<FleetVan>> keys{
      {"name", true, read_name},
      {"vin", false, read_vin},
      {"nominal_kwh", false, number_key(&VanFacts::nominal_kwh, "kWh", kLargestPackKwh)},
      {"nominal_ah", false, number_key(&VanFacts::nominal_ah, "Ah", kLargestPackAh)},
      {"onboard_charger_kw", false,
       number_key(&VanFacts::onboard_charger_kw, "kW", kLargestChargerKw)},
  };
  return keys;
}

// Further than any van is kept (common practice, no source).
constexpr double kMostExpectedKm = 2'000'000;
constexpr double kMostExpectedYears = 50;

// One point of the line as it was written: exactly one of the three, and percent.
struct WrittenPoint {
  std::optional<double> at_miles, at_km, at_years, percent;
};

auto point_key(std::optional<double> WrittenPoint::*member, std::string_view unit, double most,
               bool zero_is_right) {
  return [=](WrittenPoint& point, const toml::node& node) -> std::string {
    const double value = node.is_number() ? node.value<double>().value_or(-1) : -1;
    const bool right = value <= most && (zero_is_right ? value >= 0 : value > 0);
    if (!right)
      return fmt::format("must be a number {} 0 and at most {} {}",
                         zero_is_right ? "from" : "above", most, unit);
    point.*member = value;
    return {};
  };
}

const std::vector<Key<WrittenPoint>>& point_keys() {
  static const std::vector<Key<WrittenPoint>> keys{
      {"at_miles", false,
       point_key(&WrittenPoint::at_miles, "miles", std::floor(kMostExpectedKm / kKmPerMile), true)},
      {"at_km", false, point_key(&WrittenPoint::at_km, "km", kMostExpectedKm, true)},
      {"at_years", false, point_key(&WrittenPoint::at_years, "years", kMostExpectedYears, true)},
      {"percent", true,
       point_key(&WrittenPoint::percent, "percent of the new capacity", 100, false)},
  };
  return keys;
}

constexpr char kPointForm[] = "{ at_miles = 100000, percent = 85 }, or with at_km or at_years";

void read_expectation(const toml::node& node, FleetVan& van, Complaints& complaints) {
  const std::string form =
      fmt::format("expectation must be a list of points such as {}", kPointForm);
  const auto* points = node.as_array();
  if (points == nullptr || points->empty()) {
    complaints.error(node.source(), form);
    return;
  }
  Expectation line;
  std::size_t read = 0;
  for (auto&& element : *points) {
    const auto* table = element.as_table();
    if (table == nullptr) {
      complaints.error(element.source(), form);
      continue;
    }
    const std::size_t before = complaints.count();
    WrittenPoint point;
    read_table(*table, point_keys(), {}, "a point of expectation", point, complaints);
    if (complaints.count() != before) continue;
    const int places = int{point.at_miles.has_value()} + int{point.at_km.has_value()} +
                       int{point.at_years.has_value()};
    if (places != 1) {
      complaints.error(
          table->source(),
          fmt::format("a point of expectation has one of at_miles, at_km and at_years: "
                      "{}",
                      kPointForm));
      continue;
    }
    const auto against =
        point.at_years ? Expectation::Against::age_years : Expectation::Against::odometer_km;
    const double at = point.at_years   ? *point.at_years
                      : point.at_miles ? *point.at_miles * kKmPerMile
                                       : *point.at_km;
    if (read++ == 0) line.against = against;
    if (against != line.against) {
      complaints.error(table->source(),
                       "one line of expectation goes by distance or by years, not by both");
      continue;
    }
    if (!line.points.empty() && at <= line.points.back().at)
      complaints.error(table->source(),
                       "a point of expectation must be further out than the one before it");
    else if (!line.points.empty() && *point.percent > line.points.back().percent)
      complaints.error(table->get("percent")->source(),
                       "percent must not rise from one point of expectation to the next");
    else
      line.points.push_back({at, *point.percent});
  }
  if (!line.points.empty()) van.expectation = std::move(line);
}

const std::vector<Key<Fleet>>& fleet_keys() {
  static const std::vector<Key<Fleet>> keys{
      {"zone", true, read_zone},
      {"currency", true, read_currency},
      {"labour_rate", false, read_labour_rate},
  };
  return keys;
}

void read_vans(const toml::node& node, Fleet& fleet, Complaints& complaints) {
  const auto* vans = node.as_array();
  if (vans == nullptr) {
    complaints.error(node.source(), "van must be written as [[van]], once for each van");
    return;
  }
  std::map<std::string, std::string> seen_names, seen_vins;
  for (auto&& element : *vans) {
    const auto* table = element.as_table();
    if (table == nullptr) {
      complaints.error(element.source(), "van must be written as [[van]], once for each van");
      continue;
    }
    FleetVan van;
    static const std::vector<std::string> kOwnReaders = [] {
      std::vector<std::string> names{kOwnershipKeys.begin(), kOwnershipKeys.end()};
      names.emplace_back("expectation");
      return names;
    }();
    read_table(*table, van_keys(), kOwnReaders, "[[van]]", van, complaints);
    read_ownership(*table, van, complaints);
    if (const auto* line = table->get("expectation")) read_expectation(*line, van, complaints);
    const auto once = [&](const char* key, const std::string& value, auto& seen) {
      const auto* at = table->get(key);
      if (at == nullptr || value.empty()) return;
      const auto [before, added] = seen.emplace(value, complaints.where(at->source()));
      if (!added)
        complaints.error(at->source(), fmt::format("{} '{}' stands twice, first at {}", key, value,
                                                   before->second));
    };
    once("name", van.name, seen_names);
    once("vin", van.vin, seen_vins);
    if (is_vin(van.vin) && !vin_check_digit_holds(van.vin))
      complaints.warning(table->get("vin")->source(),
                         fmt::format("vin '{}' does not have the check digit of 49 CFR 565; right "
                                     "for many vans outside North America, else a slip",
                                     van.vin));
    fleet.vans.push_back(std::move(van));
  }
}

}  // namespace

const FleetVan* Fleet::van_of_vin(std::string_view vin) const {
  const auto found = std::ranges::find_if(
      vans, [&](const FleetVan& van) { return !vin.empty() && van.vin == vin; });
  return found == vans.end() ? nullptr : &*found;
}

const FleetVan* Fleet::van_of_name(std::string_view name) const {
  const auto found =
      std::ranges::find_if(vans, [&](const FleetVan& van) { return van.name == name; });
  return found == vans.end() ? nullptr : &*found;
}

std::vector<const FleetSignal*> Fleet::signals_of(std::string_view van) const {
  std::vector<const FleetSignal*> out;
  for (const FleetSignal& signal : signals)
    if (signal.vans.empty() || std::ranges::find(signal.vans, van) != signal.vans.end())
      out.push_back(&signal);
  return out;
}

FleetRead parse_fleet(std::string_view text, const std::string& where) {
  FleetRead out;
  Complaints complaints{where};
  try {
    const toml::table table = toml::parse(text);
    static const std::array<std::string, 8> kOthers{
        "van", "signal", "part", "keep", "tariff", "place", "depot_meter", "fixed_cost"};
    read_table(table, fleet_keys(), kOthers, "the file", out.fleet, complaints);
    if (const auto* vans = table.get("van")) read_vans(*vans, out.fleet, complaints);
    read_money(table, out.fleet, complaints);
    if (const auto* signals = table.get("signal")) read_signals(*signals, out.fleet, complaints);
    if (const auto* parts = table.get("part")) read_parts(*parts, out.fleet, complaints);
    if (const auto* keeps = table.get("keep")) read_keeps(*keeps, out.fleet, complaints);
  } catch (const toml::parse_error& e) {
    complaints.error(e.source(), std::string{e.description()});
  }
  out.errors = complaints.errors();
  out.fleet.warnings = complaints.warnings();
  return out;
}

FleetRead read_fleet(const std::filesystem::path& file) {
  FleetRead out;
  std::error_code failed;
  const auto bytes = std::filesystem::file_size(file, failed);
  std::ifstream in{file, std::ios::binary};
  if (failed || !in) {
    out.errors.push_back({"cannot be read" + (failed ? ": " + failed.message() : std::string{}),
                          file.string(),
                          "a depot folder holds a fleet.toml; packmile new makes one"});
    return out;
  }
  if (bytes > kLargestFileBytes) {
    out.errors.push_back({"is larger than 16 MiB: not a fleet.toml", file.string(), {}});
    return out;
  }
  std::ostringstream text;
  text << in.rdbuf();
  return parse_fleet(text.str(), file.string());
}

namespace {

// TOML basic string. Text from a card is hostile: control characters go out as
// escapes, and bytes that are no UTF-8 as question marks, because TOML allows
// neither.
std::string toml_text(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (byte < 0x20 || byte == 0x7F) {
      out += fmt::format("\\u{:04X}", byte);
    } else {
      out += byte < 0x80 ? c : '?';
    }
  }
  return out + "\"";
}

}  // namespace

std::string fleet_template(std::string_view zone, std::string_view currency) {
  return fmt::format(
             R"(# The slow facts of this depot. What changes by the day belongs into notes.csv.

# IANA time zone of the depot: days, tariffs and every printed time are in it.
zone = {}
# ISO 4217 code of the money in notes and tariffs; XXX means none.
currency = {}
# What an hour of your own work on a van costs; without it hours in notes are not reckoned.
#labour_rate = 32.00

# One block for each van; `packmile import` prints it for a van not yet known.
#[[van]]
#name = "Linden"                # as it shall stand in every table
#vin = "1M8GDM9AXKP042788"      # 17 characters, from the registration document
#nominal_kwh = 60               # usable energy of the new pack, kWh, data sheet
#nominal_ah = 160               # its charge, Ah, data sheet; gives full cycles
#onboard_charger_kw = 7.4       # greatest AC power that it takes, kW
# What you expect the pack to hold, percent of its new capacity: any number of points,
# by at_miles, at_km or at_years; straight between them, 100 at the beginning.
#expectation = [ {{ at_miles = 50000, percent = 95 }}, {{ at_miles = 150000, percent = 90 }} ]
{}{}
# One block for each signal that a van keeps under an identifier of its own, read by
# service 22 and nothing else. This block is INVENTED: no van answers so. Take yours
# from the maker's service information; never try identifiers out on a running van.
# packmile card prepare puts the blocks of a van on its card; hardware-notes/signals.md
# says how to write one and how to check it.
# Roles: {}.
#[[signal]]
#role = "soc"                   # what it feeds; none where it is left out
#name = "soc"                   # in every table; the role's word where it is left out
#vans = ["Linden"]              # all vans where it is left out
#ecu = 0x7E4                    # request id of the ECU: 0x7E0 to 0x7E7, or 0x18DAxxF1
#did = 0xF00D                   # the identifier, 1 to 0xFFFF
#first_byte = 2                 # of the data behind the identifier; 0 is the first
#bytes = 2                      # 1 to 4
#first_bit = 0                  # bits of the word below this one are left out
#bits = 16                      # how many count; all where it is left out
#byte_order = "big"             # or "little": least significant byte first
#signed = false                 # true: two's complement
#scale = 0.05                   # value = word * scale + offset
#offset = 0
#unit = "%"                     # of the role: V, A, %, km, km/h, degC, code, Ah or kWh
#period_ms = 10000              # while driving; the logger's own where it is left out
)",
             toml_text(zone), toml_text(currency), ownership_template(), money_template(),
             role_words()) +
         parts_template() + keep_template();
}

std::string van_lines(std::string_view name, std::string_view vin) {
  std::string out = "[[van]]\nname = " + toml_text(name) + "\n";
  if (!vin.empty()) out += "vin = " + toml_text(vin) + "\n";
  return out +
         "#nominal_kwh =          # usable energy of the new pack, kWh, data sheet\n"
         "#nominal_ah =           # its charge, Ah, data sheet\n"
         "#onboard_charger_kw =   # greatest AC power that it takes, kW\n"
         "#first_used =           # day of its first use by anybody, such as 2024-02-29\n"
         "#purchase = { day = , sum = , odometer_miles = }   # or odometer_km\n"
         "#warranty = [ { name = \"pack\", miles = , years = , from = } ]   # or km\n"
         "#annual_miles =         # what it is expected to drive in a year; or annual_km\n"
         "#plated_weight_kg =     # greatest weight allowed, from its plate\n";
}

}  // namespace packmile
