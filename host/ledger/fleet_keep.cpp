#include "ledger/fleet_keep.hpp"

#include <array>
#include <cmath>

#include "ledger/fleet_parts.hpp"

namespace packmile {
namespace {

// Beyond these a slip of the pen is likelier (common practice, no source). Some
// currencies write a van in hundreds of millions.
constexpr double kMostKeepSum = 1e10;
constexpr double kMostKeepDays = 366;
constexpr double kMostKeepKm = 500'000;
constexpr double kMostKeepYears = 30;
constexpr double kMostRatePct = 100;

struct WrittenKeep {
  FleetKeep keep;
  std::optional<OwnersRange> miles_per_year, cost_per_mile, challenger_cost_per_mile;
  std::optional<double> years;
};

// Three numbers that do not fall, or one that is sure; empty: neither.
std::optional<OwnersRange> range_in(const toml::node& node, double most) {
  OwnersRange range;
  if (node.is_number()) {
    range.low = range.likely = range.high = node.value<double>().value_or(-1);
  } else {
    const auto* list = node.as_array();
    if (list == nullptr || list->size() != 3) return std::nullopt;
    const std::array<double*, 3> into{&range.low, &range.likely, &range.high};
    for (std::size_t k = 0; k < into.size(); ++k) {
      const auto* value = list->get(k);
      *into[k] = value->is_number() ? value->value<double>().value_or(-1) : -1;
    }
  }
  if (!(range.low >= 0 && range.low <= range.likely && range.likely <= range.high &&
        range.high <= most))
    return std::nullopt;
  return range;
}

std::string range_form(std::string_view unit, double most) {
  return fmt::format("[low, likely, high], from 0 to {:.0f} {}, none below the one before it", most,
                     unit);
}

auto range_key(auto place, std::string_view unit, double most) {
  return [=](WrittenKeep& out, const toml::node& node) -> std::string {
    const auto range = range_in(node, most);
    if (!range) return "must be " + range_form(unit, most);
    place(out) = *range;
    return {};
  };
}

// One range for each year from the first on.
auto by_year_key(std::vector<OwnersRange> FleetKeep::*member) {
  return [member](WrittenKeep& out, const toml::node& node) -> std::string {
    const std::string wrong = fmt::format(
        "must be a list with one entry for each of 1 to {:.0f} years, each a number or "
        "{}",
        kMostKeepYears, range_form("of the depot's currency", kMostKeepSum));
    const auto* list = node.as_array();
    if (list == nullptr || list->empty() || static_cast<double>(list->size()) > kMostKeepYears)
      return wrong;
    for (auto&& year : *list) {
      const auto range = range_in(year, kMostKeepSum);
      if (!range) return wrong;
      (out.keep.*member).push_back(*range);
    }
    return {};
  };
}

auto keep_number(auto place, std::string_view unit, double least, double most) {
  return [=](WrittenKeep& out, const toml::node& node) -> std::string {
    const double value = node.is_number() ? node.value<double>().value_or(-1) : -1;
    if (!(value >= least && value <= most))
      return fmt::format("must be a number from {} to {:.0f} {}", least, most, unit);
    place(out) = value;
    return {};
  };
}

std::string read_rate_kind(WrittenKeep& out, const toml::node& node) {
  std::string word;
  if (auto wrong = read_text(node, word); !wrong.empty()) return wrong;
  if (word != "nominal" && word != "real")
    return fmt::format("must be nominal (with inflation) or real (without), not '{}'", word);
  out.keep.rate_kind = word == "real" ? RateKind::real : RateKind::nominal;
  return {};
}

const std::vector<Key<WrittenKeep>>& keep_keys() {
  const auto range = [](std::optional<OwnersRange> FleetKeep::*member) {
    return [member](WrittenKeep& out) -> std::optional<OwnersRange>& { return out.keep.*member; };
  };
  const auto written = [](std::optional<OwnersRange> WrittenKeep::*member) {
    return [member](WrittenKeep& out) -> std::optional<OwnersRange>& { return out.*member; };
  };
  const auto number = [](std::optional<double> FleetKeep::*member) {
    return [member](WrittenKeep& out) -> std::optional<double>& { return out.keep.*member; };
  };
  static const std::string_view kMoney = "of the depot's currency";
  static const std::vector<Key<WrittenKeep>> keys{
      {"challenger_price", false,
       range_key(range(&FleetKeep::challenger_price), kMoney, kMostKeepSum)},
      {"challenger_years", false,
       keep_number([](WrittenKeep& out) -> std::optional<double>& { return out.years; }, "years", 1,
                   kMostKeepYears)},
      {"challenger_resale", false,
       range_key(range(&FleetKeep::challenger_resale), kMoney, kMostKeepSum)},
      {"challenger_repairs_a_year", false,
       range_key(range(&FleetKeep::challenger_repairs), kMoney, kMostKeepSum)},
      {"challenger_lost_days_a_year", false,
       range_key(range(&FleetKeep::challenger_lost_days), "days", kMostKeepDays)},
      {"resale_now", false, range_key(range(&FleetKeep::resale_now), kMoney, kMostKeepSum)},
      {"resale_next_year", false,
       range_key(range(&FleetKeep::resale_next_year), kMoney, kMostKeepSum)},
      {"repairs_next_year", false,
       range_key(range(&FleetKeep::repairs_next_year), kMoney, kMostKeepSum)},
      {"challenger_resale_by_year", false, by_year_key(&FleetKeep::challenger_resale_by_year)},
      {"challenger_repairs_by_year", false, by_year_key(&FleetKeep::challenger_repairs_by_year)},
      {"resale_by_year", false, by_year_key(&FleetKeep::resale_by_year)},
      {"repairs_by_year", false, by_year_key(&FleetKeep::repairs_by_year)},
      {"lost_days_next_year", false,
       range_key(range(&FleetKeep::lost_days_next_year), "days", kMostKeepDays)},
      {"hire_per_lost_day", false,
       keep_number(number(&FleetKeep::hire_per_lost_day), kMoney, 0, kMostKeepSum)},
      {"cost_per_km", false, range_key(range(&FleetKeep::cost_per_km), kMoney, kMostKeepSum)},
      {"cost_per_mile", false,
       range_key(written(&WrittenKeep::cost_per_mile), kMoney, kMostKeepSum)},
      {"challenger_cost_per_km", false,
       range_key(range(&FleetKeep::challenger_cost_per_km), kMoney, kMostKeepSum)},
      {"challenger_cost_per_mile", false,
       range_key(written(&WrittenKeep::challenger_cost_per_mile), kMoney, kMostKeepSum)},
      {"km_a_year", false, range_key(range(&FleetKeep::km_per_year), "km", kMostKeepKm)},
      {"miles_a_year", false,
       range_key(written(&WrittenKeep::miles_per_year), "miles",
                 std::floor(kMostKeepKm / kKmPerMile))},
      {"rate_pct", false, keep_number(number(&FleetKeep::rate_pct), "% a year", 0, kMostRatePct)},
      {"rate_kind", false, read_rate_kind},
  };
  return keys;
}

OwnersRange scaled_range(const OwnersRange& range, double factor) {
  return {range.low * factor, range.likely * factor, range.high * factor};
}

}  // namespace

void read_keeps(const toml::node& node, Fleet& fleet, Complaints& complaints) {
  const auto* blocks = node.as_array();
  constexpr char kForm[] = "keep must be written as [[keep]], once for all vans or once for each";
  if (blocks == nullptr) return complaints.error(node.source(), kForm);
  std::map<std::string, std::string> seen;
  for (auto&& element : *blocks) {
    const auto* table = element.as_table();
    if (table == nullptr) {
      complaints.error(element.source(), kForm);
      continue;
    }
    static const std::array<std::string, 1> kOthers{"vans"};
    WrittenKeep written;
    read_table(*table, keep_keys(), kOthers, "[[keep]]", written, complaints);
    FleetKeep& keep = written.keep;
    if (const auto* vans = table->get("vans")) read_vans_of(*vans, fleet, keep.vans, complaints);
    const auto either = [&](const char* km, const char* miles, std::optional<OwnersRange>& into,
                            const std::optional<OwnersRange>& from, double factor) {
      if (table->contains(km) && table->contains(miles))
        complaints.error(table->get(miles)->source(),
                         fmt::format("[[keep]] has {} or {}, not both", km, miles));
      else if (from)
        into = scaled_range(*from, factor);
    };
    either("km_a_year", "miles_a_year", keep.km_per_year, written.miles_per_year, kKmPerMile);
    either("cost_per_km", "cost_per_mile", keep.cost_per_km, written.cost_per_mile, 1 / kKmPerMile);
    either("challenger_cost_per_km", "challenger_cost_per_mile", keep.challenger_cost_per_km,
           written.challenger_cost_per_mile, 1 / kKmPerMile);
    for (const auto& [one, other] : {std::pair{"challenger_resale", "challenger_resale_by_year"},
                                     {"challenger_years", "challenger_resale_by_year"},
                                     {"challenger_repairs_a_year", "challenger_repairs_by_year"},
                                     {"resale_next_year", "resale_by_year"},
                                     {"repairs_next_year", "repairs_by_year"}})
      if (table->contains(one) && table->contains(other))
        complaints.error(table->get(other)->source(),
                         fmt::format("[[keep]] has {} or {}, not both", one, other));
    if (written.years) {
      keep.challenger_years = static_cast<int>(std::lround(*written.years));
      if (std::abs(*written.years - *keep.challenger_years) > 1e-9)
        complaints.error(table->get("challenger_years")->source(),
                         "challenger_years must be a whole number of years");
    }
    if (keep.km_per_year && !(keep.km_per_year->low > 0))
      complaints.error(table->source(), "a van that does not drive has no cost per mile");
    std::vector<std::string> whose = keep.vans;
    if (!table->contains("vans")) whose.emplace_back();
    for (const std::string& van : whose) {
      const auto [before, added] = seen.emplace(van, complaints.where(table->source()));
      if (!added)
        complaints.error(table->source(),
                         fmt::format("[[keep]] of {} stands twice, first at {}",
                                     van.empty() ? "every van" : van, before->second));
    }
    fleet.keeps.push_back(std::move(keep));
  }
}

FleetKeep Fleet::keep_of(std::string_view van) const {
  FleetKeep out;
  const auto fill = [&out](const FleetKeep& from) {
    const auto take = [&](auto member) {
      if (!(out.*member)) out.*member = from.*member;
    };
    // One of the two ways of saying it: the block of the van itself goes before.
    const auto either = [&](auto once, auto by_year) {
      if (out.*once || !(out.*by_year).empty()) return;
      out.*once = from.*once;
      out.*by_year = from.*by_year;
    };
    take(&FleetKeep::challenger_price);
    if (out.challenger_resale_by_year.empty()) take(&FleetKeep::challenger_years);
    either(&FleetKeep::challenger_resale, &FleetKeep::challenger_resale_by_year);
    either(&FleetKeep::challenger_repairs, &FleetKeep::challenger_repairs_by_year);
    take(&FleetKeep::challenger_lost_days);
    take(&FleetKeep::resale_now);
    either(&FleetKeep::resale_next_year, &FleetKeep::resale_by_year);
    either(&FleetKeep::repairs_next_year, &FleetKeep::repairs_by_year);
    take(&FleetKeep::lost_days_next_year);
    take(&FleetKeep::hire_per_lost_day);
    take(&FleetKeep::cost_per_km);
    take(&FleetKeep::challenger_cost_per_km);
    take(&FleetKeep::km_per_year);
    take(&FleetKeep::rate_pct);
    take(&FleetKeep::rate_kind);
  };
  for (const FleetKeep& keep : keeps)
    if (std::ranges::find(keep.vans, van) != keep.vans.end()) fill(keep);
  for (const FleetKeep& keep : keeps)
    if (keep.vans.empty()) fill(keep);
  return out;
}

std::string keep_template() {
  return R"(
# Keep or sell: `packmile compare` holds one more year of a van against another van, the
# challenger. Each amount is [low, likely, high] in the depot's currency, or one number
# that is sure. What you once paid does not count. Nothing here has a default; these are
# INVENTED. One block without vans for all; a block with vans goes before it, key by key.
#[[keep]]
#vans = ["Linden"]                          # all vans where it is left out
#challenger_price = [19000, 21500, 24000]   # what the other van costs, ready to work
#challenger_years = 5                       # how long you would keep it
#challenger_resale = [5000, 7000, 9500]     # what it would fetch after them
#challenger_repairs_a_year = [300, 600, 1200]   # upkeep and repairs, mean of these years
# Or year by year, as many as you like: the years that cost least are then looked for.
# challenger_resale_by_year = [[16000, 17500, 19000], [13000, 14500, 16500]]
# challenger_repairs_by_year = [[200, 300, 600], [300, 500, 900]]
#challenger_lost_days_a_year = [1, 3, 6]    # days without it
#resale_now = [7000, 8500, 9800]            # what this van would fetch today
#resale_next_year = [5200, 6600, 8000]      # and in a year
#repairs_next_year = [700, 1500, 3500]      # upkeep and repairs of this van, next year
# Or year by year, in place of the two: what keeping it for longer is worth is then seen.
# resale_by_year = [[5200, 6600, 8000], [3800, 5000, 6500]]
# repairs_by_year = [[700, 1500, 3500], [900, 2000, 4500]]
#lost_days_next_year = [3, 8, 18]           # days without it
#hire_per_lost_day = 85                     # what a stand-in and its trouble cost a day
#miles_a_year = [9000, 10500, 12000]        # or km_a_year; its own use where left out
#cost_per_mile = [0.05, 0.06, 0.08]         # or per km: energy of this van; both or neither
#challenger_cost_per_mile = [0.05, 0.06, 0.07]  # and of the challenger
#rate_pct = 6                               # what money costs you a year, %
#rate_kind = "nominal"                      # prices with inflation; "real": without
)";
}

}  // namespace packmile
