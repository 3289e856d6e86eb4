#include "ledger/fleet_money.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <set>

namespace packmile {
namespace {

// More than any of it costs in the smallest unit of a currency of today (common
// practice, no source); a slip of the decimal point in pounds passes below it.
constexpr double kMostPrice = 1e6;
constexpr double kMostPerYear = 1e9;
// A van drives less between two charges (common practice, no source).
constexpr double kMostDrivenKm = 2000;
constexpr double kMostMeterErrorPct = 20;
constexpr std::size_t kLongestMoneyName = 64;
constexpr std::array<std::string_view, 7> kDays{"mon", "tue", "wed", "thu", "fri", "sat", "sun"};
constexpr std::uint8_t kEveryDay = 0x7F;

// As far as they could be read; absent: not there, or wrong and told.
struct BandBlock {
  std::optional<int> from_min, to_min;
  std::uint8_t days = kEveryDay;
  double price = 0;
};
struct TariffBlock {
  std::string name;
  bool utc_clock = false;
  std::optional<UtcTime> valid_from;
  std::optional<double> price;
  PriceList list;
};
struct PlaceBlock {
  Place place;
  std::optional<int> from_min, to_min;
  std::optional<std::uint8_t> days;
  std::optional<double> from_km, from_miles, to_km, to_miles;
};

std::string clock_text(int minute) { return fmt::format("{:02}:{:02}", minute / 60, minute % 60); }

std::string read_money_name(const toml::node& node, std::string& out) {
  if (auto wrong = read_text(node, out); !wrong.empty()) return wrong;
  if (out.empty() || out.size() > kLongestMoneyName)
    return fmt::format("must have 1 to {} bytes", kLongestMoneyName);
  if (std::ranges::any_of(out, [](unsigned char c) { return c < 0x20 || c == 0x7F; }))
    return "must not hold control characters";
  return {};
}

template <typename N>
std::string read_sum(const toml::node& node, double most, N& out) {
  const double value = node.is_number() ? node.value<double>().value_or(-1)
                                        : std::numeric_limits<double>::quiet_NaN();
  if (!(value >= 0 && value <= most))
    return fmt::format("must be a number from 0 to {} of the currency", most);
  out = value;
  return {};
}

// "23:30", or 23:30:00 without quotes; to: also "24:00".
std::string read_clock(const toml::node& node, bool end, std::optional<int>& out) {
  const std::string wrong =
      fmt::format("must be a time of day in whole minutes such as \"23:30\"{}",
                  end ? ", at most \"24:00\"" : "");
  if (const auto* time = node.as_time()) {
    const toml::time& t = time->get();
    if (t.second != 0 || t.nanosecond != 0 || t.hour > 23 || t.minute > 59) return wrong;
    out = t.hour * 60 + t.minute;
    return {};
  }
  const auto* text = node.as_string();
  if (text == nullptr) return wrong;
  const std::string& s = text->get();
  const auto digit = [&](std::size_t k) { return s[k] >= '0' && s[k] <= '9'; };
  if (s.size() != 5 || s[2] != ':' || !digit(0) || !digit(1) || !digit(3) || !digit(4))
    return wrong;
  const int hour = (s[0] - '0') * 10 + (s[1] - '0'), minute = (s[3] - '0') * 10 + (s[4] - '0');
  if (minute > 59 || hour > 24 || (hour == 24 && (minute != 0 || !end))) return wrong;
  out = hour * 60 + minute;
  return {};
}

std::optional<std::size_t> day_named(std::string_view word) {
  const auto found = std::ranges::find(kDays, word);
  if (found == kDays.end()) return std::nullopt;
  return static_cast<std::size_t>(found - kDays.begin());
}

// "sat", "mon-fri", "fri-mon", or a list of such words.
std::string read_days(const toml::node& node, std::uint8_t& out) {
  const std::string wrong =
      "must be days such as \"mon-fri\" or [\"sat\", \"sun\"]; the words are mon, tue, wed, thu, "
      "fri, sat, sun";
  std::uint8_t days = 0;
  const auto add = [&](const toml::node& word) {
    const auto* text = word.as_string();
    if (text == nullptr) return false;
    const std::string_view s = text->get();
    const std::size_t dash = s.find('-');
    const auto from = day_named(s.substr(0, dash));
    const auto to = dash == s.npos ? from : day_named(s.substr(dash + 1));
    if (!from || !to) return false;
    for (std::size_t day = *from;; day = (day + 1) % kDays.size()) {
      days = static_cast<std::uint8_t>(days | (1u << day));
      if (day == *to) return true;
    }
  };
  if (const auto* list = node.as_array()) {
    for (auto&& word : *list)
      if (!add(word)) return wrong;
  } else if (!add(node)) {
    return wrong;
  }
  if (days == 0) return wrong;
  out = days;
  return {};
}

// A local day of the depot, in quotes or without.
std::string read_day(const toml::node& node, const Zone& zone, std::optional<UtcTime>& out) {
  constexpr char kWrong[] = "must be a day such as 2026-04-01";
  std::string text;
  if (const auto* date = node.as_date())
    text = fmt::format("{:04}-{:02}-{:02}", date->get().year, date->get().month, date->get().day);
  else if (const auto* string = node.as_string())
    text = string->get();
  constexpr std::size_t kDayLength = 10;
  if (text.size() != kDayLength) return kWrong;
  const auto day = zone.read(text);
  if (!day) return kWrong;
  out = *day;
  return {};
}

// The hours of a week that are marked, the same hours of several days once:
// "00:00 to 00:30 every day, 12:00 to 13:00 on sat sun".
std::string hours_text(const std::vector<bool>& marked) {
  std::map<std::pair<int, int>, std::uint8_t> stretches;
  for (int day = 0; day < 7; ++day) {
    for (int minute = 0; minute < kDayMinutes;) {
      const auto is = [&](int m) {
        return marked[static_cast<std::size_t>(day * kDayMinutes + m)];
      };
      int end = minute;
      while (end < kDayMinutes && is(end) == is(minute)) ++end;
      if (is(minute)) {
        auto& days = stretches[{minute, end}];
        days = static_cast<std::uint8_t>(days | (1u << day));
      }
      minute = end;
    }
  }
  std::string out;
  for (const auto& [stretch, days] : stretches) {
    out += fmt::format("{}{} to {}", out.empty() ? "" : ", ", clock_text(stretch.first),
                       clock_text(stretch.second));
    if (days == kEveryDay) {
      out += " every day";
      continue;
    }
    out += " on";
    for (std::size_t day = 0; day < kDays.size(); ++day)
      if ((days >> day) & 1) out += fmt::format(" {}", kDays[day]);
  }
  return out;
}

// Minutes of the week of one band; to <= from: over midnight, and over the end of
// the week.
template <typename Mark>
void for_each_minute(const BandBlock& band, const Mark& mark) {
  const int from = *band.from_min;
  const int to = *band.to_min > from ? *band.to_min : *band.to_min + kDayMinutes;
  for (int day = 0; day < 7; ++day) {
    if (((band.days >> day) & 1) == 0) continue;
    for (int m = from; m < to; ++m)
      mark(static_cast<std::size_t>((day * kDayMinutes + m) % kWeekMinutes));
  }
}

constexpr char kBandForm[] = "{ from = \"00:30\", to = \"05:30\", price = 0.09 }";

void read_bands(const toml::node& node, PriceList& list, Complaints& complaints) {
  const auto* bands = node.as_array();
  if (bands == nullptr || bands->empty()) {
    complaints.error(node.source(), fmt::format("bands must be a list such as [ {} ]", kBandForm));
    return;
  }
  static const std::vector<Key<BandBlock>> keys{
      {"from", true,
       [](BandBlock& b, const toml::node& n) { return read_clock(n, false, b.from_min); }},
      {"to", true, [](BandBlock& b, const toml::node& n) { return read_clock(n, true, b.to_min); }},
      {"days", false, [](BandBlock& b, const toml::node& n) { return read_days(n, b.days); }},
      {"price", true,
       [](BandBlock& b, const toml::node& n) { return read_sum(n, kMostPrice, b.price); }}};
  const std::size_t before = complaints.count();
  constexpr double kNoPrice = -1;
  std::vector<double> price(kWeekMinutes, kNoPrice);
  for (auto&& element : *bands) {
    const auto* table = element.as_table();
    if (table == nullptr) {
      complaints.error(element.source(), fmt::format("a band must be written as {}", kBandForm));
      continue;
    }
    BandBlock band;
    const std::size_t sound = complaints.count();
    read_table(*table, keys, {}, "a band", band, complaints);
    if (complaints.count() != sound) continue;
    std::vector<bool> twice(kWeekMinutes, false);
    bool any = false;
    for_each_minute(band, [&](std::size_t minute) {
      if (price[minute] != kNoPrice) any = twice[minute] = true;
      price[minute] = band.price;
    });
    if (!any) continue;
    complaints.error(table->source(), fmt::format("this band overlaps one before it: {}; each "
                                                  "minute of the week has one price",
                                                  hours_text(twice)));
    // The rest would overlap likewise; and a hostile list ends here.
    break;
  }
  if (complaints.count() != before) return;
  std::vector<bool> missing(kWeekMinutes, false);
  for (std::size_t m = 0; m < missing.size(); ++m) missing[m] = price[m] == kNoPrice;
  if (std::ranges::find(missing, true) != missing.end()) {
    complaints.error(node.source(),
                     fmt::format("no band covers {}: add one, so that each minute of the week has "
                                 "a price",
                                 hours_text(missing)));
    return;
  }
  for (int m = 0; m < kWeekMinutes; ++m) {
    const double here = price[static_cast<std::size_t>(m)];
    if (!list.bands.empty() && list.bands.back().per_kwh == here)
      list.bands.back().to_min = m + 1;
    else
      list.bands.push_back({m, m + 1, here});
  }
}

std::vector<Key<TariffBlock>> tariff_keys(const Zone& zone) {
  const auto sum = [](auto PriceList::*member) {
    return [member](TariffBlock& b, const toml::node& n) {
      return read_sum(n, kMostPrice, b.list.*member);
    };
  };
  return {
      {"name", true,
       [](TariffBlock& b, const toml::node& n) { return read_money_name(n, b.name); }},
      {"clock", false,
       [](TariffBlock& b, const toml::node& n) -> std::string {
         std::string word;
         if (auto wrong = read_text(n, word); !wrong.empty()) return wrong;
         if (word != "local" && word != "utc")
           return "must be \"local\" (the clock on the wall) or \"utc\", not '" + word + "'";
         b.utc_clock = word == "utc";
         return {};
       }},
      {"valid_from", false,
       [zone](TariffBlock& b, const toml::node& n) { return read_day(n, zone, b.valid_from); }},
      {"price", false,
       [](TariffBlock& b, const toml::node& n) { return read_sum(n, kMostPrice, b.price); }},
      {"per_session", false, sum(&PriceList::per_session)},
      {"per_minute", false, sum(&PriceList::per_minute)},
      {"standing_per_day", false, sum(&PriceList::standing_per_day)},
      {"price_includes_vat", false,
       [](TariffBlock&, const toml::node& n) -> std::string {
         return n.is_boolean() ? "" : "must be true or false";
       }},
  };
}

// Every table of an array of tables, in order of the file.
template <typename Read>
void for_each_block(const toml::table& file, const char* key, Complaints& complaints,
                    const Read& read) {
  const auto* node = file.get(key);
  if (node == nullptr) return;
  const auto* blocks = node->as_array();
  const std::string form = fmt::format("{} must be written as [[{}]], once for each", key, key);
  if (blocks == nullptr) {
    complaints.error(node->source(), form);
    return;
  }
  if (blocks->size() > kMostMoneyBlocks) {
    complaints.error(node->source(), fmt::format("more than {} blocks of [[{}]] are no settings",
                                                 kMostMoneyBlocks, key));
    return;
  }
  for (auto&& element : *blocks) {
    if (const auto* table = element.as_table())
      read(*table);
    else
      complaints.error(element.source(), form);
  }
}

void read_tariffs(const toml::table& file, const Zone& zone, MoneyFacts& money,
                  Complaints& complaints) {
  static const std::array<std::string, 1> kOwnReader{"bands"};
  const auto keys = tariff_keys(zone);
  for_each_block(file, "tariff", complaints, [&](const toml::table& table) {
    TariffBlock block;
    const std::size_t before = complaints.count();
    read_table(table, keys, kOwnReader, "[[tariff]]", block, complaints);
    const auto* bands = table.get("bands");
    if (bands != nullptr && table.contains("price"))
      complaints.error(bands->source(),
                       "a tariff has either one price for all hours or bands, not both");
    else if (bands != nullptr)
      read_bands(*bands, block.list, complaints);
    else if (block.price)
      block.list.bands = {{0, kWeekMinutes, *block.price}};
    else if (!table.contains("price"))
      complaints.error(table.source(), "[[tariff]] lacks price, or bands with a price each");
    if (complaints.count() != before) return;
    block.list.valid_from = block.valid_from;
    const auto known = std::ranges::find(money.tariffs, block.name, &Tariff::name);
    if (known == money.tariffs.end()) {
      money.tariffs.push_back({block.name, block.utc_clock, {block.list}});
      return;
    }
    if (known->utc_clock != block.utc_clock) {
      complaints.error(table.source(), fmt::format("clock of tariff '{}' is another one in a block "
                                                   "before; give the two different names",
                                                   block.name));
      return;
    }
    for (const PriceList& list : known->lists)
      if (list.valid_from == block.valid_from) {
        complaints.error(
            table.source(),
            fmt::format("tariff '{}' stands twice {}: several blocks of one name need "
                        "valid_from, each its own day",
                        block.name,
                        block.valid_from ? "with the same valid_from" : "without valid_from"));
        return;
      }
    known->lists.push_back(block.list);
    std::ranges::sort(known->lists, {}, [](const PriceList& list) {
      return list.valid_from.value_or(UtcTime::min());
    });
  });
}

// Names that are looked through for the one that was meant.
template <typename T>
std::vector<std::string> names_of(const std::vector<T>& list) {
  constexpr std::size_t kMostGuesses = 100;
  std::vector<std::string> names;
  for (std::size_t k = 0; k < std::min(list.size(), kMostGuesses); ++k)
    names.push_back(list[k].name);
  return names;
}

std::string unknown_name(std::string_view what, const std::string& name,
                         const std::vector<std::string>& known) {
  return fmt::format("fleet.toml has no {} '{}'{}", what, name, did_you_mean(name, known));
}

// The vans that may be named; built once, because a list may be long.
class VanNamesRead {
 public:
  explicit VanNamesRead(const Fleet& fleet) : guesses_(names_of(fleet.vans)) {
    for (const FleetVan& van : fleet.vans) names_.insert(van.name);
  }

  [[nodiscard]] std::string read(const toml::node& node, std::vector<std::string>& out) const {
    const auto* list = node.as_array();
    if (list == nullptr || list->empty()) return "must be a list of names such as [\"Linden\"]";
    std::set<std::string> seen;
    for (auto&& element : *list) {
      std::string name;
      if (auto wrong = read_text(element, name); !wrong.empty()) return "must be a list of names";
      if (!names_.contains(name))
        return "names a van that is not there: " +
               unknown_name("[[van]] of the name", name, guesses_);
      if (seen.insert(name).second) out.push_back(name);
    }
    return {};
  }

 private:
  std::set<std::string> names_;
  std::vector<std::string> guesses_;
};

const std::vector<Key<PlaceBlock>>& place_keys() {
  const auto clock = [](std::optional<int> PlaceBlock::*member, bool end) {
    return
        [member, end](PlaceBlock& b, const toml::node& n) { return read_clock(n, end, b.*member); };
  };
  const auto driven = [](std::optional<double> PlaceBlock::*member, double most,
                         std::string_view unit) {
    return [member, most, unit](PlaceBlock& b, const toml::node& n) -> std::string {
      const double value = n.is_number() ? n.value<double>().value_or(-1) : -1;
      if (!(value >= 0 && value <= most))
        return fmt::format("must be a number from 0 to {} {}", most, unit);
      b.*member = value;
      return {};
    };
  };
  static const std::vector<Key<PlaceBlock>> keys{
      {"name", true,
       [](PlaceBlock& b, const toml::node& n) { return read_money_name(n, b.place.name); }},
      {"kind", true,
       [](PlaceBlock& b, const toml::node& n) -> std::string {
         std::string word;
         if (auto wrong = read_text(n, word); !wrong.empty()) return wrong;
         for (const PlaceKind kind : {PlaceKind::depot, PlaceKind::public_post})
           if (word == word_of(kind)) {
             b.place.kind = kind;
             return {};
           }
         return "must be \"depot\" or \"public\", not '" + word + "'";
       }},
      {"tariff", false,
       [](PlaceBlock& b, const toml::node& n) { return read_money_name(n, b.place.tariff); }},
      {"hours_from", false, clock(&PlaceBlock::from_min, false)},
      {"hours_to", false, clock(&PlaceBlock::to_min, true)},
      {"days", false,
       [](PlaceBlock& b, const toml::node& n) {
         std::uint8_t days = 0;
         auto wrong = read_days(n, days);
         if (wrong.empty()) b.days = days;
         return wrong;
       }},
      {"driven_from_miles", false,
       driven(&PlaceBlock::from_miles, std::floor(kMostDrivenKm / kKmPerMile), "miles")},
      {"driven_from_km", false, driven(&PlaceBlock::from_km, kMostDrivenKm, "km")},
      {"driven_to_miles", false,
       driven(&PlaceBlock::to_miles, std::floor(kMostDrivenKm / kKmPerMile), "miles")},
      {"driven_to_km", false, driven(&PlaceBlock::to_km, kMostDrivenKm, "km")},
  };
  return keys;
}

void read_places(const toml::table& file, MoneyFacts& money, Complaints& complaints) {
  for_each_block(file, "place", complaints, [&](const toml::table& table) {
    PlaceBlock block;
    const std::size_t before = complaints.count();
    read_table(table, place_keys(), {}, "[[place]]", block, complaints);
    if (!block.place.tariff.empty() && money.tariff_named(block.place.tariff) == nullptr)
      complaints.error(
          table.get("tariff")->source(),
          unknown_name("[[tariff]] of the name", block.place.tariff, names_of(money.tariffs)));
    if (table.contains("hours_from") != table.contains("hours_to"))
      complaints.error(table.source(), "[[place]] has hours_from and hours_to, or neither");
    if (block.days && !table.contains("hours_from") && !table.contains("hours_to")) {
      block.from_min = 0;
      block.to_min = kDayMinutes;
    }
    const auto one_of = [&](const char* miles_key, const char* km_key,
                            const std::optional<double>& miles, const std::optional<double>& km) {
      if (miles && km)
        complaints.error(table.get(km_key)->source(),
                         fmt::format("[[place]] has {} or {}, not both", miles_key, km_key));
      return miles ? std::optional{*miles * kKmPerMile} : km;
    };
    Place& place = block.place;
    place.driven_from_km =
        one_of("driven_from_miles", "driven_from_km", block.from_miles, block.from_km);
    place.driven_to_km = one_of("driven_to_miles", "driven_to_km", block.to_miles, block.to_km);
    if (place.driven_from_km && place.driven_to_km && *place.driven_from_km >= *place.driven_to_km)
      complaints.error(table.source(), "driven_from of [[place]] must be less than driven_to");
    if (block.from_min && block.to_min)
      place.hours = PlaceHours{*block.from_min, *block.to_min, block.days.value_or(kEveryDay)};
    if (!place.name.empty() && money.place_named(place.name) != nullptr)
      complaints.error(table.get("name")->source(),
                       fmt::format("place '{}' stands twice", place.name));
    if (complaints.count() == before) money.places.push_back(std::move(place));
  });
}

void read_meter(const toml::table& file, const VanNamesRead& vans, Fleet& fleet,
                Complaints& complaints) {
  const auto* node = file.get("depot_meter");
  if (node == nullptr) return;
  const auto* table = node->as_table();
  if (table == nullptr) {
    complaints.error(node->source(), "depot_meter must be written as [depot_meter], once");
    return;
  }
  DepotMeter meter;
  const std::vector<Key<DepotMeter>> keys{
      {"place", false,
       [&](DepotMeter& m, const toml::node& n) -> std::string {
         if (auto wrong = read_money_name(n, m.place); !wrong.empty()) return wrong;
         if (fleet.money.place_named(m.place) != nullptr) return {};
         return "must be the name of a place: " +
                unknown_name("[[place]] of the name", m.place, names_of(fleet.money.places));
       }},
      {"vans", false, [&](DepotMeter& m, const toml::node& n) { return vans.read(n, m.vans); }},
      {"error_percent", false, [](DepotMeter& m, const toml::node& n) -> std::string {
         const double value = n.is_number() ? n.value<double>().value_or(-1) : -1;
         if (!(value >= 0 && value <= kMostMeterErrorPct))
           return fmt::format("must be a number from 0 to {}", kMostMeterErrorPct);
         m.error_pct = value;
         return {};
       }}};
  const std::size_t before = complaints.count();
  read_table(*table, keys, {}, "[depot_meter]", meter, complaints);
  if (complaints.count() == before) fleet.money.meter = std::move(meter);
}

void read_fixed_costs(const toml::table& file, const Zone& zone, const VanNamesRead& vans,
                      Fleet& fleet, Complaints& complaints) {
  const std::vector<Key<FixedCost>> keys{
      {"name", true, [](FixedCost& c, const toml::node& n) { return read_money_name(n, c.name); }},
      {"per_year", true,
       [](FixedCost& c, const toml::node& n) { return read_sum(n, kMostPerYear, c.per_year); }},
      {"vans", false, [&](FixedCost& c, const toml::node& n) { return vans.read(n, c.vans); }},
      {"from", false, [&](FixedCost& c, const toml::node& n) { return read_day(n, zone, c.from); }},
      {"to", false, [&](FixedCost& c, const toml::node& n) { return read_day(n, zone, c.to); }}};
  for_each_block(file, "fixed_cost", complaints, [&](const toml::table& table) {
    FixedCost cost;
    const std::size_t before = complaints.count();
    read_table(table, keys, {}, "[[fixed_cost]]", cost, complaints);
    if (cost.from && cost.to && *cost.from >= *cost.to)
      complaints.error(table.source(), "from of [[fixed_cost]] must be before to");
    if (complaints.count() == before) fleet.fixed_costs.push_back(std::move(cost));
  });
}

}  // namespace

void read_money(const toml::table& file, Fleet& fleet, Complaints& complaints) {
  // A zone that is wrong is told already; days are then read as those of UTC.
  fleet.money.zone = fleet.zone;
  if (fleet.money.zone.name().empty()) {
    const auto utc = Zone::find("UTC");
    if (!utc) return;
    fleet.money.zone = *utc;
  }
  const Zone zone = fleet.money.zone;
  read_tariffs(file, zone, fleet.money, complaints);
  read_places(file, fleet.money, complaints);
  const VanNamesRead vans{fleet};
  read_meter(file, vans, fleet, complaints);
  read_fixed_costs(file, zone, vans, fleet, complaints);
}

std::string_view money_template() {
  return R"(
# One block for each tariff, and one more of the same name for each change of prices.
# All sums are in the currency above, per kWh at the socket.
#[[tariff]]
#name = "night"                 # as [[place]] names it
#clock = "local"                # its hours are those of the clock on the wall; or "utc"
#valid_from = 2026-04-01        # this block's first local day; from the beginning where left out
# One price for all hours is written price = 0.25; else bands, every minute of the week once:
#bands = [
#{ from = "00:30", to = "05:30", price = 0.09 },
#{ from = "05:30", to = "00:30", price = 0.29 },
#]                              # to <= from: over midnight; days = "mon-fri" or ["sat", "sun"]
#                               # in a band: those on which it begins; every day where left out
#per_session = 0                # fee for each charge
#per_minute = 0                 # fee for each minute of a charge
#standing_per_day = 0.45        # shared by all vans of this file
#price_includes_vat = true      # a remark: nothing is added or taken off

# One block for each place where vans charge. Which charge was there is told by its
# receipt or by the meter; else by the rule here, and is then called assumed.
#[[place]]
#name = "yard"                  # as it shall stand in tables, and in receipts
#kind = "depot"                 # or "public"
#tariff = "night"               # none: only receipts tell what was paid
#hours_from = "17:00"           # charges that begin from here
#hours_to = "06:00"             # to here, local time, are taken to be in this place
#days = "mon-sun"               # on which these hours begin; every day where left out
#driven_from_miles = 30         # .. and that come after at least this distance since the
#driven_to_miles = 120          # charge before, and less than that; or _km
)"
         R"(
# The depot's counter, as `packmile note meter BEFORE AFTER` reads it.
#[depot_meter]
#place = "yard"                 # where it is; the only depot where it is left out
#vans = ["Linden"]              # whose charges go through it; of one van alone it counts
#                               # between notes, too
#error_percent = 1              # by how much it may be wrong; 1 where it is left out

# What is paid whether a van moves or not: insurance, road tax, finance.
#[[fixed_cost]]
#name = "insurance"
#per_year = 980.00              # for each van
#vans = ["Linden"]              # all vans where it is left out
#from = 2026-01-01              # its first day; without a beginning where left out
#to = 2027-01-01                # the day after its last; without an end where left out
)";
}

}  // namespace packmile
