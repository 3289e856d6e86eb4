#include "ledger/compare.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "energy/figure_sum.hpp"

namespace packmile {
namespace {

constexpr std::size_t kVinTypeLetters = 8;
// Beyond this nobody waits for it.
constexpr double kMostMoreDays = 3650;
constexpr const char* kSensorsWhy =
    "no number of days would do: what the vans' current sensors and odometers leave open is "
    "larger than the difference";

std::vector<MileDrive> drives_of(const VanParts& parts, std::uint32_t van, const Period& period,
                                 const Zone& zone) {
  std::vector<MileDrive> out;
  std::map<std::string, std::int64_t> days;
  for (const Trip& trip : parts.trips) {
    if (!period.holds(trip.start) || trip.energy_method != EnergyMethod::integrated ||
        trip.coverage < kLeastDriveCoverage || !trip.kwh_per_mile.figure ||
        !trip.distance_km.figure || trip.distance_km.figure->value < kLeastDriveKm ||
        !trip.moving_kmh || !trip.stops)
      continue;
    MileDrive drive;
    drive.van = van;
    drive.day = days.try_emplace(zone.day(trip.start), static_cast<std::int64_t>(days.size()))
                    .first->second;
    drive.miles = trip.distance_km.figure->value / kKmPerMile;
    drive.kwh_per_mile = *trip.kwh_per_mile.figure;
    drive.moving_mph = *trip.moving_kmh / kKmPerMile;
    drive.stops = *trip.stops;
    drive.ambient_c = trip.ambient_mean_c;
    out.push_back(drive);
  }
  return out;
}

// A van whose VIN was never read is of a type of its own.
std::string type_text(const VanToCompare& van, std::size_t index) {
  if (van.names.vin.size() < kVinTypeLetters) return fmt::format("van {}", index);
  const auto& nominal = van.parts.facts.nominal_kwh;
  return van.names.vin.substr(0, kVinTypeLetters) +
         (nominal ? fmt::format(" {} kWh", *nominal) : std::string{});
}

std::string text_of(const Figure& f, double sign) {
  const double low = sign > 0 ? f.low : -f.high, high = sign > 0 ? f.high : -f.low;
  // + 0 makes a zero of "-0".
  const auto rounded = [](double value) { return std::round(value * 1e3) / 1e3 + 0.0; };
  return fmt::format("{:.3f} ({:.3f} to {:.3f}) kWh/mile", rounded(sign * f.value), rounded(low),
                     rounded(high));
}

std::string others_text(std::size_t others) {
  return others == 1 ? "the other van" : fmt::format("the mean of the {} other vans", others);
}

std::string more_days_text(const MileDifference& d) {
  if (!d.more_days) return kSensorsWhy;
  if (*d.more_days > kMostMoreDays)
    return "if it is what it looks like, more than ten years would be needed to tell";
  return fmt::format("if it is what it looks like, about {:.0f} more days would do", *d.more_days);
}

std::string reason_of(const MileDifference& d, std::size_t others, const MileType& type) {
  const double sign = d.kwh_per_mile.value < 0 ? -1 : 1;
  std::string text =
      d.decided ? fmt::format("takes {} {} than {} at the same speed and stops",
                              text_of(d.kwh_per_mile, sign), sign > 0 ? "more" : "less",
                              others_text(others))
                : fmt::format("the difference from {}, {}, may be chance; {}", others_text(others),
                              text_of(d.kwh_per_mile, 1), more_days_text(d));
  if (!type.by_temperature) text += "; the temperature is not taken out: " + type.terms[0].why;
  return text;
}

// Where a difference is gone once speed, stops and temperature are taken out: what was
// driven is what the owner pays for. Empty: the plain figures overlap, or what is left
// may be as large. left: the difference at the same conditions.
std::string as_driven_text(const Figure& mine, const std::vector<Figure>& others,
                           const Figure& left) {
  double value = 0, low = 0, high = 0;
  for (const Figure& other : others) {
    value += other.value / static_cast<double>(others.size());
    low += other.low / static_cast<double>(others.size());
    high += other.high / static_cast<double>(others.size());
  }
  if (mine.low <= high && mine.high >= low) return {};
  if (std::abs(mine.value - value) <= std::max(std::abs(left.low), std::abs(left.high))) return {};
  return fmt::format(
      "; as driven it takes {:.3f} kWh/mile and {} {:.3f}: mostly the speed, the stops and the "
      "weather of its drives, not the van",
      mine.value, others.size() == 1 ? "the other" : "they", value);
}

// What the cost of one van leaves out and that of the other does not; empty: nothing.
std::string unlike_text(const CostToRank& one, const CostToRank& other) {
  for (const auto& [a, b] : {std::pair{&one, &other}, {&other, &one}}) {
    std::vector<std::string> words;
    for (const std::string& word : a->not_included)
      if (std::ranges::find(b->not_included, word) == b->not_included.end()) words.push_back(word);
    if (!words.empty())
      return fmt::format(
          "not ranked: the cost of {} leaves out {}, that of {} does not; packmile cost says how "
          "to have it in both",
          a->van, fmt::join(words, ", "), b->van);
  }
  return {};
}

}  // namespace

std::vector<CostRank> ranks_of(const std::vector<CostToRank>& costs) {
  std::vector<CostRank> out(costs.size());
  for (std::size_t k = 0; k < costs.size(); ++k) {
    if (!costs[k].per_mile.figure) {
      out[k].why = costs[k].per_mile.why;
      continue;
    }
    const Figure& own = *costs[k].per_mile.figure;
    std::int64_t cheaper = 0;
    std::size_t others = 0;
    // The one that it overlaps most, by the wider of the two intervals.
    const CostToRank* wide = nullptr;
    const auto width = [](const CostToRank& one) {
      return one.per_mile.figure->high - one.per_mile.figure->low;
    };
    std::string overlapped, unlike;
    for (const CostToRank& other : costs) {
      if (&other == &costs[k] || !other.per_mile.figure) continue;
      ++others;
      const Figure& theirs = *other.per_mile.figure;
      if (unlike.empty()) unlike = unlike_text(costs[k], other);
      if (theirs.high < own.low) {
        ++cheaper;
      } else if (theirs.low <= own.high) {
        overlapped += (overlapped.empty() ? "" : ", ") + other.van;
        for (const CostToRank* one : {&costs[k], &other})
          if (wide == nullptr || width(*one) > width(*wide)) wide = one;
      }
    }
    if (others == 0)
      out[k].why = "no other van has a cost per mile in this period";
    else if (!unlike.empty())
      out[k].why = std::move(unlike);
    else if (wide != nullptr)
      out[k].why = fmt::format(
          "not ranked: its interval overlaps that of {}; what would decide it first is a narrower "
          "cost of {}: {}",
          overlapped, wide->van, wide->narrower);
    else
      out[k].rank = cheaper + 1;
  }
  return out;
}

Comparison compare(const std::vector<VanToCompare>& vans, const Period& period, const Zone& zone,
                   const MileRules& rules) {
  Comparison out;
  std::vector<MileDrive> drives;
  std::vector<std::uint32_t> type_of_van;
  std::map<std::string, std::uint32_t> types;
  for (std::size_t k = 0; k < vans.size(); ++k) {
    const auto of_van = drives_of(vans[k].parts, static_cast<std::uint32_t>(k), period, zone);
    drives.insert(drives.end(), of_van.begin(), of_van.end());
    type_of_van.push_back(
        types.try_emplace(type_text(vans[k], k), static_cast<std::uint32_t>(types.size()))
            .first->second);
  }
  out.study = study_energy_per_mile(drives, type_of_van, rules);

  std::vector<std::uint32_t> able;
  for (std::uint32_t k = 0; k < vans.size(); ++k)
    if (out.study.vans[k].at_reference.figure) able.push_back(k);
  std::vector<CostToRank> costs;
  for (const VanToCompare& van : vans)
    costs.push_back({van.names.van, van.cost_per_mile, van.not_included, van.narrower_cost});
  const std::vector<CostRank> ranks = ranks_of(costs);
  const std::size_t pairs = able.size() * (able.size() - 1) / 2;
  for (std::uint32_t k = 0; k < vans.size(); ++k) {
    ComparedVan van;
    van.names = vans[k].names;
    van.keep = vans[k].keep;
    van.cost_per_mile = costs[k].per_mile;
    van.equivalent_years = vans[k].equivalent_years;
    van.cost_rank = ranks[k];
    van.kwh_per_mile = throughput_of(vans[k].parts, period, zone).kwh_per_mile;
    const MileVan& studied = out.study.vans[k];
    std::vector<std::uint32_t> others = able;
    std::erase(others, k);
    if (!studied.at_reference.figure) {
      van.energy_reason = studied.at_reference.why;
    } else if (others.empty()) {
      van.energy_reason = "no other van has enough drives to compare with";
    } else {
      const MileDifference d = difference_of(out.study, k, others, able.size(), rules);
      van.difference_kwh_per_mile = MaybeFigure::known(d.kwh_per_mile);
      van.energy_decided = d.decided;
      van.energy_reason = reason_of(d, others.size(), out.study.types[studied.type]);
      for (const std::uint32_t other : others) {
        const std::uint32_t one_other[] = {other};
        const MileDifference pair = difference_of(out.study, k, one_other, pairs, rules);
        van.against.push_back({vans[other].names.van, pair.kwh_per_mile, pair.decided,
                               pair.more_days,
                               pair.decided ? "it is decided already" : kSensorsWhy});
      }
    }
    if (!van.difference_kwh_per_mile.figure)
      van.difference_kwh_per_mile = MaybeFigure::unknown(van.energy_reason);
    out.vans.push_back(std::move(van));
  }
  for (const std::uint32_t k : able) {
    ComparedVan& van = out.vans[k];
    std::vector<Figure> others;
    for (const std::uint32_t other : able)
      if (other != k && out.vans[other].kwh_per_mile.figure)
        others.push_back(*out.vans[other].kwh_per_mile.figure);
    if (!van.energy_decided && van.kwh_per_mile.figure && !others.empty())
      van.energy_reason +=
          as_driven_text(*van.kwh_per_mile.figure, others, *van.difference_kwh_per_mile.figure);
  }
  return out;
}

std::vector<Column> compare_columns() {
  using enum ColumnKind;
  std::vector<Column> out{{"van", text, false},
                          {"vin", text, true},
                          {"kwh_per_mile", figure, true},
                          {"kwh_per_mile_at_reference", figure, true},
                          {"cost_per_mile", figure, true},
                          {"break_even_price", figure, true},
                          {"equivalent_years", figure, true},
                          {"decided", text, false},
                          {"reason", text, false},
                          {"drives", count, false},
                          {"days", count, false},
                          {"reference_ambient_c", real, true},
                          {"reference_moving_kmh", real, true},
                          {"reference_stops_per_mile", real, true},
                          {"difference_kwh_per_mile", figure, true},
                          {"differences", differences, false}};
  for (std::size_t k = 0; k < kMileParts; ++k)
    out.push_back(
        {fmt::format("{}_kwh_per_mile", word_of(static_cast<MilePart>(k))), figure, true});
  for (const char* name : {"heating_kw_per_k", "cooling_kw_per_k", "hotel_kw",
                           "drag_at_50_mph_kwh_per_mile", "stop_kwh"})
    out.push_back({name, figure, true});
  for (Column& column : std::vector<Column>{{"question", text, false},
                                            {"energy_decided", text, false},
                                            {"energy_reason", text, false},
                                            {"keep_or_sell", text, true},
                                            {"selling_is_cheaper", real, true},
                                            {"keeping_cost_per_mile", figure, true},
                                            {"challenger_cost_per_mile", figure, true},
                                            {"break_even_inputs", text, true},
                                            {"cost_rank", count, true},
                                            {"winter_range_km", figure, true},
                                            {"round_km", real, true},
                                            {"currency", text, false}})
    out.push_back(std::move(column));
  return out;
}
static_assert(kDragMph == 50, "the name of a column says so");

Row row_of(const Comparison& comparison, std::size_t index) {
  const ComparedVan& van = comparison.vans[index];
  const MileVan& studied = comparison.study.vans[index];
  const auto& reference = comparison.study.reference;
  const std::string no_reference = "no van has enough drives";
  const auto real_or = [&](std::optional<double> value) {
    return value ? Cell{*value, {}} : Cell::unknown(no_reference);
  };
  const KeepOrSell* kept = van.keep.told ? &*van.keep.told : nullptr;
  const std::string keep_why = van.keep.why.empty() ? "not asked" : van.keep.why;
  const bool decided = kept ? kept->verdict != KeepVerdict::open : van.energy_decided;
  Row row{{van.names.van, {}},
          van.names.vin.empty() ? Cell::unknown("the van never answered its VIN")
                                : Cell{van.names.vin, {}},
          Cell::of(van.kwh_per_mile),
          Cell::of(studied.at_reference),
          Cell::of(van.cost_per_mile),
          kept ? Cell{kept->break_even_price, {}} : Cell::unknown(keep_why),
          Cell::of(van.equivalent_years),
          {std::string{decided ? "yes" : "no"}, {}},
          {kept ? van.keep.reason : van.energy_reason, {}},
          {static_cast<std::int64_t>(studied.drives), {}},
          {static_cast<std::int64_t>(studied.days), {}},
          reference ? Cell{kReferenceAmbientC, {}} : Cell::unknown(no_reference),
          real_or(reference ? std::optional{reference->moving_mph * kKmPerMile} : std::nullopt),
          real_or(reference ? std::optional{reference->stops_per_mile} : std::nullopt),
          Cell::of(van.difference_kwh_per_mile),
          {van.against, {}}};
  for (const MaybeFigure& part : studied.parts) row.push_back(Cell::of(part));
  for (std::size_t k = 0; k < kMileTerms; ++k)
    row.push_back(studied.at_reference.figure
                      ? Cell::of(comparison.study.types[studied.type].terms[k])
                      : Cell::unknown(studied.at_reference.why));
  row.push_back({std::string{kept ? "keep_or_sell" : "kwh_per_mile"}, {}});
  row.push_back({std::string{van.energy_decided ? "yes" : "no"}, {}});
  row.push_back({van.energy_reason, {}});
  row.push_back(kept ? Cell{std::string{word_of(kept->verdict)}, {}} : Cell::unknown(keep_why));
  row.push_back(kept ? Cell{kept->selling_is_cheaper, {}} : Cell::unknown(keep_why));
  row.push_back(kept ? Cell{kept->keeping_per_mile, {}} : Cell::unknown(keep_why));
  row.push_back(kept ? Cell{kept->challenger_per_mile, {}} : Cell::unknown(keep_why));
  row.push_back(!kept                     ? Cell::unknown(keep_why)
                : van.keep.inputs.empty() ? Cell::unknown("every input is sure")
                                          : Cell{van.keep.inputs, {}});
  row.push_back(van.cost_rank.rank
                    ? Cell{*van.cost_rank.rank, {}}
                    : Cell::unknown(van.cost_rank.why.empty() ? "no cost per mile is known"
                                                              : van.cost_rank.why));
  row.push_back(Cell::of(van.keep.winter.range_km));
  row.push_back(van.keep.winter.round_km
                    ? Cell{*van.keep.winter.round_km, {}}
                    : Cell::unknown(van.keep.winter.round_why.empty() ? "no days are on record"
                                                                      : van.keep.winter.round_why));
  row.push_back({comparison.currency, {}});
  return row;
}

}  // namespace packmile
