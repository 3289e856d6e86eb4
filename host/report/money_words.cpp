#include "report/money_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <span>

#include "ledger/van_duty.hpp"
#include "report/number_text.hpp"

namespace packmile::report {
namespace {

constexpr std::size_t kInputsShown = 3;

struct KeyName {
  std::string_view key, text;
};
constexpr std::array<KeyName, 12> kInputNames{{
    {"challenger_price", "another van's price"},
    {"challenger_resale", "what another fetches later"},
    {"challenger_repairs_a_year", "another's repairs"},
    {"challenger_lost_days_a_year", "another's lost days"},
    {"resale_now", "what it fetches today"},
    {"resale_next_year", "what it fetches in a year"},
    {"repairs_next_year", "next year's repairs"},
    {"lost_days_next_year", "next year's lost days"},
    {"miles_a_year", "miles a year"},
    {"cost_per_mile", "its cost by the mile"},
    {"challenger_cost_per_mile", "the other one's cost by the mile"},
    {"rate_pct", "the rate of interest"},
}};

constexpr std::array<KeyName, 12> kLeftOutNames{{
    {"energy", "energy"},
    {"charges_without_cost", "charges without a price"},
    {"meter_shared", "a counter that vans share"},
    {"meter_without_price", "metered energy without a price"},
    {"meter_renewed", "what a renewed counter counted"},
    {"tyres", "tyres"},
    {"parts", "parts"},
    {"labour", "labour"},
    {"off_road", "days off the road"},
    {"hire", "what stood in for it"},
    {"fixed", "fixed costs"},
    {"depreciation", "loss in value"},
}};

std::string named(std::span<const KeyName> names, std::string_view key) {
  for (const KeyName& name : names)
    if (name.key == key) return std::string{name.text};
  return std::string{key};
}

std::vector<std::string> left_out(const VanCost& cost) {
  std::vector<std::string> out;
  for (const LeftOut& one : cost.not_included) {
    std::string text = named(kLeftOutNames, one.word);
    if (std::ranges::find(out, text) == out.end()) out.push_back(std::move(text));
  }
  return out;
}

std::vector<std::string> in_order(const std::vector<LeftOut>& left_out) {
  std::vector<std::string> words;
  for (const LeftOut& one : left_out) words.push_back(one.word);
  std::ranges::sort(words);
  return words;
}

}  // namespace

std::string input_words(std::string_view key) { return named(kInputNames, key); }

std::string left_out_words(const VanCost& cost) {
  const auto items = left_out(cost);
  return items.empty() ? "" : "without " + listed(items);
}

std::string dearest_sentence(const DepotEvidence& depot) {
  const VanEvidence* dearest = nullptr;
  std::vector<const VanEvidence*> known;
  std::vector<std::string> unknown;
  for (const VanEvidence& van : depot.vans) {
    const MaybeFigure& cost = van.cost.cost_per_mile;
    if (!cost.figure || !van.cost.short_distance.empty() || van.cost_of_longer) {
      unknown.push_back(van.names.van);
      continue;
    }
    known.push_back(&van);
    if (dearest == nullptr || cost.figure->value > dearest->cost.cost_per_mile.figure->value)
      dearest = &van;
  }
  if (dearest == nullptr)
    return sentence(fmt::format("what a {} cost in these {} days is not known of any van",
                                depot.words.each_distance(), kSoonDays.count()));
  const Figure& cost = *dearest->cost.cost_per_mile.figure;
  const std::string said =
      fmt::format("{} a {}", depot.words.cost_per_distance(cost), depot.words.each_distance());
  if (known.size() == 1)
    return sentence(
        fmt::format("{} cost {}; no other van's cost is known", dearest->names.van, said));
  std::vector<std::string> overlapping, unlike;
  for (const VanEvidence* van : known) {
    if (van == dearest) continue;
    // What only the other one leaves out might make it the dearer.
    if (!std::ranges::includes(in_order(dearest->cost.not_included),
                               in_order(van->cost.not_included)))
      unlike.push_back(van->names.van);
    else if (!apart(*van->cost.cost_per_mile.figure, cost))
      overlapping.push_back(van->names.van);
  }
  std::string out;
  if (!unlike.empty())
    out = fmt::format(
        "which van is dearest is not told: what the sum of {} leaves out is in that of {}",
        listed(unlike), dearest->names.van);
  else if (!overlapping.empty())
    out = fmt::format("which van is dearest cannot be told: the range of {} overlaps that of {}",
                      dearest->names.van, listed(overlapping));
  else
    out = fmt::format("{} was dearest in these {} days: {}", dearest->names.van, kSoonDays.count(),
                      said);
  if (!unknown.empty()) out += fmt::format("; not known of {} for these days", listed(unknown));
  out = sentence(out);
  if (depot.fleet_cost_per_mile.figure)
    out += fmt::format(" All {} together: {} a {}.", known.size(),
                       depot.words.cost_per_distance(*depot.fleet_cost_per_mile.figure),
                       depot.words.each_distance());
  return out;
}

std::string dearest_by_energy_sentence(const DepotEvidence& depot) {
  const auto knows = [](const VanEvidence& van) {
    const auto of_energy = [](const LeftOut& one) {
      return one.word == "energy" || one.word == "charges_without_cost" ||
             one.word.starts_with("meter_");
    };
    return van.cost.energy_cost_per_mile.figure && van.cost.short_distance.empty() &&
           !van.cost_of_longer && std::ranges::none_of(van.cost.not_included, of_energy);
  };
  std::vector<const VanEvidence*> known;
  for (const VanEvidence& van : depot.vans)
    if (knows(van)) known.push_back(&van);
  if (known.size() < 2) return {};
  const auto energy = [](const VanEvidence* van) -> const Figure& {
    return *van->cost.energy_cost_per_mile.figure;
  };
  const VanEvidence* dearest = *std::ranges::max_element(
      known, {}, [&](const VanEvidence* van) { return energy(van).value; });
  for (const VanEvidence* van : known)
    if (van != dearest && !apart(energy(van), energy(dearest))) return {};
  const bool all = known.size() == depot.vans.size();
  return sentence(
      fmt::format("by energy alone {} was dearest{}: {} a {}", dearest->names.van,
                  all ? "" : fmt::format(" of the {} of which that is known", known.size()),
                  depot.words.cost_per_distance(energy(dearest)), depot.words.each_distance()));
}

std::string cost_sentence(const VanEvidence& van, const DepotEvidence& depot) {
  const MaybeFigure& cost = van.cost.cost_per_mile;
  if (!cost.figure) return "not known: " + cost.why;
  std::string out = fmt::format("{} a {}", depot.words.cost_per_distance(*cost.figure),
                                depot.words.each_distance());
  const std::string without = left_out_words(van.cost);
  if (!without.empty()) out += ", " + without;
  if (van.cost_of_longer)
    out += fmt::format("; since {}, when its odometer was read",
                       depot.words.day(local_day(depot.zone, van.cost.from)));
  if (!van.cost.short_distance.empty()) out += "; it reads high: " + van.cost.short_distance;
  return out;
}

std::string keep_sentence(const VanEvidence& van, const Words& words) {
  const VanKeep& keep = van.compared.keep;
  if (!keep.told) return "not known: " + keep.why;
  const KeepOrSell& told = *keep.told;
  std::string out =
      fmt::format("worth keeping a year below {}", words.whole_money(told.break_even_price));
  switch (told.verdict) {
    case KeepVerdict::keep:
      out += ": keeping is cheaper";
      break;
    case KeepVerdict::sell:
      out += ": selling is cheaper";
      break;
    case KeepVerdict::open:
      out += ": open";
      break;
  }
  out += told.verdict == KeepVerdict::keep
             ? fmt::format(" (in {:.0f} of 100 draws)", (1 - told.selling_is_cheaper) * 100)
         : told.verdict == KeepVerdict::sell
             ? fmt::format(" (in {:.0f} of 100 draws)", told.selling_is_cheaper * 100)
             : fmt::format(" (selling is cheaper in {:.0f} of 100 draws)",
                           told.selling_is_cheaper * 100);
  std::vector<std::string> movers;
  for (const InputSwing& swing : told.swings) {
    if (!swing.moves_price || !(swing.width() > 0)) continue;
    movers.push_back(fmt::format("{} ({} to {})", input_words(swing.input),
                                 grouped(number_text(std::min(swing.low, swing.high), -2)),
                                 grouped(number_text(std::max(swing.low, swing.high), -2))));
    if (movers.size() == kInputsShown) break;
  }
  if (!movers.empty()) out += "; moved most by " + listed(movers);
  return out;
}

std::string winter_sentence(const VanEvidence& van, const Words& words) {
  const WinterRange& winter = van.compared.keep.winter;
  if (!winter.range_km.figure) return sentence(winter.text);
  const Figure& range = *winter.range_km.figure;
  std::string out =
      fmt::format("on one charge, at the energy of {}{}, it reaches {}", month_words(winter.month),
                  winter.ambient_c ? fmt::format(" ({} degC)", number_text(*winter.ambient_c, 0))
                                   : std::string{},
                  words.distance(range));
  if (!winter.round_km) return sentence(out + "; its round is not known: " + winter.round_why);
  const double round_km = *winter.round_km;
  return sentence(fmt::format("{}, and 19 of 20 of its days were within {} {}: {}", out,
                              grouped(number_text(round_km * words.of_km(), 0)),
                              words.distance_unit(),
                              range.low >= round_km    ? "it does its round"
                              : range.high <= round_km ? "it needs a charge on the way"
                                                       : "it may need a charge on the way"));
}

std::string energy_sentence(const VanEvidence& van, std::size_t vans, const Words& words) {
  const MaybeFigure& difference = van.compared.difference_kwh_per_mile;
  if (!difference.figure) return sentence(van.compared.energy_reason);
  const std::string others =
      vans == 2 ? std::string{"the other van"} : std::string{"the mean of the other vans"};
  const Figure& d = *difference.figure;
  if (!van.compared.energy_decided)
    return sentence(
        fmt::format("at the same speed, stops and temperature it differs from {} by "
                    "{}, which may be chance",
                    others, words.energy_per_distance(d)));
  const double sign = d.value < 0 ? -1 : 1;
  const Figure size{sign * d.value, sign < 0 ? -d.high : d.low, sign < 0 ? -d.low : d.high,
                    d.scatter};
  return sentence(fmt::format("at the same speed, stops and temperature it takes {} {} than {}",
                              words.energy_per_distance(size), sign > 0 ? "more" : "less", others));
}

}  // namespace packmile::report
