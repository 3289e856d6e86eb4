#include "ledger/fleet.hpp"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <functional>
#include <limits>
#include <map>
#include <span>
#include <sstream>

#include "ledger/nearest.hpp"
#include "ledger/vin.hpp"

namespace packmile {
namespace {

// A fleet of ten thousand vans fits; more is not a settings file.
constexpr std::uintmax_t kLargestFileBytes = 16 << 20;
constexpr std::size_t kLongestNameBytes = 64;

// Mistakes by place: toml++ walks tables in order of their keys, people read
// files in order of lines.
class Complaints {
 public:
  explicit Complaints(std::string file) : file_(std::move(file)) {}

  void error(const toml::source_region& at, std::string what, std::string hint = {}) {
    errors_.emplace(std::pair{at.begin.line, at.begin.column},
                    Error{std::move(what), where(at), std::move(hint)});
  }
  void warning(const toml::source_region& at, const std::string& what) {
    warnings_.emplace(std::pair{at.begin.line, at.begin.column}, where(at) + ": " + what);
  }
  [[nodiscard]] std::string where(const toml::source_region& at) const {
    if (at.begin.line == 0) return file_;
    return fmt::format("{}:{}:{}", file_, at.begin.line, at.begin.column);
  }
  [[nodiscard]] std::vector<Error> errors() const {
    std::vector<Error> out;
    for (const auto& [place, error] : errors_) out.push_back(error);
    return out;
  }
  [[nodiscard]] std::vector<std::string> warnings() const {
    std::vector<std::string> out;
    for (const auto& [place, text] : warnings_) out.push_back(text);
    return out;
  }

 private:
  using Place = std::pair<toml::source_index, toml::source_index>;
  std::string file_;
  std::multimap<Place, Error> errors_;
  std::multimap<Place, std::string> warnings_;
};

// One key: its name, what must stand there, and where it goes. `read` answers
// with what is wrong; an empty answer means that it was taken.
template <typename T>
struct Key {
  const char* name;
  bool required;
  std::function<std::string(T&, const toml::node&)> read;
};

std::string read_text(const toml::node& node, std::string& out) {
  const auto* text = node.as_string();
  if (text == nullptr) return "must be text in quotes";
  out = text->get();
  return {};
}

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

const std::vector<Key<Fleet>>& fleet_keys() {
  static const std::vector<Key<Fleet>> keys{
      {"zone", true, read_zone},
      {"currency", true, read_currency},
  };
  return keys;
}

// Reads one table by its list of keys. `others`: names that someone else reads.
template <typename T>
void read_table(const toml::table& table, const std::vector<Key<T>>& keys,
                std::span<const std::string> others, std::string_view title, T& out,
                Complaints& complaints) {
  std::vector<std::string> known{others.begin(), others.end()};
  for (const auto& key : keys) known.emplace_back(key.name);
  for (auto&& [name, node] : table) {
    const std::string word{name.str()};
    if (std::ranges::find(others, word) != others.end()) continue;
    const auto key = std::ranges::find_if(keys, [&](const auto& k) { return word == k.name; });
    if (key == keys.end()) {
      complaints.error(name.source(), fmt::format("unknown key '{}' in {}{}", word, title,
                                                  did_you_mean(word, known)));
      continue;
    }
    if (auto wrong = key->read(out, node); !wrong.empty())
      complaints.error(node.source(), fmt::format("{} {}", word, wrong));
  }
  for (const auto& key : keys) {
    if (key.required && !table.contains(key.name))
      complaints.error(table.source(), fmt::format("{} lacks the key '{}'", title, key.name));
  }
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
    read_table(*table, van_keys(), {}, "[[van]]", van, complaints);
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

FleetRead parse_fleet(std::string_view text, const std::string& where) {
  FleetRead out;
  Complaints complaints{where};
  try {
    const toml::table table = toml::parse(text);
    static const std::array<std::string, 1> kOthers{"van"};
    read_table(table, fleet_keys(), kOthers, "the file", out.fleet, complaints);
    if (const auto* vans = table.get("van")) read_vans(*vans, out.fleet, complaints);
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

# One block for each van; `packmile import` prints it for a van not yet known.
#[[van]]
#name = "Linden"                # as it shall stand in every table
#vin = "1M8GDM9AXKP042788"      # 17 characters, from the registration document
#nominal_kwh = 60               # usable energy of the new pack, kWh, data sheet
#nominal_ah = 160               # its charge, Ah, data sheet; gives full cycles
#onboard_charger_kw = 7.4       # greatest AC power that it takes, kW
)",
      toml_text(zone), toml_text(currency));
}

std::string van_lines(std::string_view name, std::string_view vin) {
  std::string out = "[[van]]\nname = " + toml_text(name) + "\n";
  if (!vin.empty()) out += "vin = " + toml_text(vin) + "\n";
  return out +
         "#nominal_kwh =          # usable energy of the new pack, kWh, data sheet\n"
         "#nominal_ah =           # its charge, Ah, data sheet\n"
         "#onboard_charger_kw =   # greatest AC power that it takes, kW\n";
}

}  // namespace packmile
