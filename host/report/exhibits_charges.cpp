#include <fmt/format.h>

#include <algorithm>

#include "notes/currency.hpp"
#include "report/exhibits.hpp"
#include "report/money_words.hpp"
#include "report/number_text.hpp"

namespace packmile::report {
namespace {

constexpr char kNoCharge[] = "No charge is on record in this period.";

std::string place_name(const ChargeSum& sum) {
  return sum.place.empty() ? "place not known" : sum.place;
}

std::string energy_text(const MaybeFigure& kwh) {
  return kwh.figure ? range_words(*kwh.figure) : "not known";
}

std::string sum_text(const MaybeFigure& cost, const Words& words) {
  return cost.figure ? money_text(*cost.figure, words.currency) : "not known";
}

std::string kwh_price_text(const MaybeFigure& price, const Words& words) {
  return price.figure ? words.price(*price.figure) : "not known";
}

std::string in_currency(std::string_view what, const Words& words) {
  const std::string name = words.currency_name();
  return std::string{what} + (name.empty() ? "" : ", " + name);
}

std::vector<TableHead> sum_heads(std::string_view first, const Words& words) {
  return {{std::string{first}},
          {"place"},
          {"charges", true},
          {"kWh at the socket", true},
          {in_currency("cost", words), true},
          {"a kWh", true}};
}

std::vector<std::string> sum_cells(const ChargeSum& sum, const Words& words) {
  return {place_name(sum), std::to_string(sum.charges), energy_text(sum.grid_kwh),
          sum_text(sum.cost, words), kwh_price_text(sum.cost_per_kwh, words)};
}

}  // namespace

Exhibit fleet_cost(const DepotEvidence& depot) {
  const Words& words = depot.words;
  Exhibit out{"fleet_cost", "What a mile cost", dearest_sentence(depot), {}, {}};
  if (const std::string by_energy = dearest_by_energy_sentence(depot); !by_energy.empty())
    out.finding += " " + by_energy;
  if (!words.miles) out.title = "What a km cost";
  out.table = {fmt::format("cost a {} in the last {} days, {}", words.each_distance(),
                           kSoonDays.count(), words.currency_name()),
               {{"van"},
                {fmt::format("a {}", words.each_distance()), true},
                {"without loss in value", true},
                {"energy alone", true},
                {std::string{words.distance_unit()}, true},
                {"left out"}},
               {}};
  const auto text = [&](const MaybeFigure& per_mile) {
    return per_mile.figure ? range_words(*per_mile.figure, words.per_mile(), 3) : "not known";
  };
  for (const VanEvidence& van : depot.vans) {
    const VanCost& cost = van.cost;
    out.table.lines.push_back(
        {{},
         van.names.van,
         {van.names.van, text(cost.cost_per_mile), text(cost.cost_per_mile_without_depreciation),
          text(cost.energy_cost_per_mile),
          cost.distance_km.figure ? range_words(*cost.distance_km.figure, words.of_km(), 0)
                                  : "not known",
          left_out_words(cost)}});
    if (!cost.cost_per_mile.figure || !van.cost.short_distance.empty() || van.cost_of_longer)
      continue;
    ChartPoint point = point_of(van.names.van, *cost.cost_per_mile.figure, words.per_mile());
    point.note = left_out_words(cost);
    out.chart.points.push_back(std::move(point));
  }
  out.chart.x_type = "category";
  out.chart.x_label = "van";
  out.chart.y_label = in_currency(fmt::format("cost a {}", words.each_distance()), words);
  out.chart.from_zero = true;
  out.chart.says = out.finding;
  if (depot.fleet_cost_per_mile.figure) {
    ChartLine line{"fleet", {}};
    for (const ChartPoint& point : out.chart.points)
      line.at.emplace_back(point.x, depot.fleet_cost_per_mile.figure->value * words.per_mile());
    out.chart.lines.push_back(std::move(line));
  }
  return out;
}

Exhibit charges_by_month(const VanEvidence& van, const DepotEvidence& depot) {
  Exhibit out{"charges", "Charges by month and place", {}, {}, {}};
  out.table = {fmt::format("{}: charges by month and place", van.names.van),
               sum_heads("month", depot.words),
               {}};
  for (const ChargeSum& sum : van.by_month) {
    std::vector<std::string> cells = sum_cells(sum, depot.words);
    cells.insert(cells.begin(), month_words(sum.month));
    out.table.lines.push_back({sum.month, {}, std::move(cells)});
    if (!sum.grid_kwh.figure) continue;
    ChartPoint point = point_of(sum.month, *sum.grid_kwh.figure);
    point.group = place_name(sum);
    point.note = counted(sum.charges, "charge", "charges");
    out.chart.points.push_back(std::move(point));
  }
  out.chart.kind = "bars";
  out.chart.van = van.names.van;
  out.chart.x_label = "month";
  out.chart.y_label = "kWh at the socket";
  out.chart.from_zero = true;
  std::vector<std::string> places;
  for (const ChargeSum& sum : van.by_place)
    places.push_back(
        fmt::format("{}, {}: {}", place_name(sum), counted(sum.charges, "charge", "charges"),
                    sum.grid_kwh.figure ? energy_text(sum.grid_kwh) + " kWh" : "energy not known"));
  out.finding = places.empty() ? kNoCharge : sentence(fmt::format("{}", fmt::join(places, "; ")));
  out.chart.says = out.finding;
  return out;
}

Exhibit charges_by_hour(const VanEvidence& van, const DepotEvidence& depot) {
  Exhibit out{"hours", "When charges begin", {}, {}, {}};
  out.table = {fmt::format("{}: charges by the hour at which they begin, {}", van.names.van,
                           depot.zone.name()),
               {{"from"}, {"charges", true}},
               {}};
  std::size_t all = 0, most = 0;
  for (std::size_t hour = 0; hour < van.hours.begun.size(); ++hour) {
    const std::size_t count = van.hours.begun[hour];
    all += count;
    most = std::max(most, count);
    out.table.lines.push_back({{}, {}, {fmt::format("{:02}:00", hour), std::to_string(count)}});
    ChartPoint point;
    point.x = fmt::format("{:02}", hour);
    point.y = static_cast<double>(count);
    out.chart.points.push_back(std::move(point));
  }
  out.chart.kind = "bars";
  out.chart.van = van.names.van;
  out.chart.x_type = "category";
  out.chart.x_label = "hour of the local clock";
  out.chart.y_label = "charges begun";
  out.chart.from_zero = true;
  if (all == 0) {
    out.chart.points.clear();
    out.table.lines.clear();
    out.finding = van.hours.unsure > 0 ? "Of no charge it is sure when it began." : kNoCharge;
  } else {
    std::vector<std::string> hours;
    for (std::size_t hour = 0; hour < van.hours.begun.size(); ++hour)
      if (van.hours.begun[hour] == most)
        hours.push_back(fmt::format("{:02}:00 and {:02}:00", hour, (hour + 1) % 24));
    out.finding =
        fmt::format("Most charges begin between {}: {} of {}{}.", fmt::join(hours, ", or between "),
                    most, all, hours.size() > 1 ? " each" : "");
    if (van.hours.unsure > 0)
      out.finding += fmt::format(" Of {} it is not sure when.",
                                 counted(van.hours.unsure, "charge", "charges"));
  }
  out.chart.says = out.finding;
  return out;
}

Exhibit charges_by_place(const VanEvidence& van, const DepotEvidence& depot) {
  const Words& words = depot.words;
  Exhibit out{"prices", "What a kWh cost", {}, {}, {}};
  out.table = {fmt::format("{}: charges by place", van.names.van), sum_heads("", words), {}};
  out.table.head.erase(out.table.head.begin());
  const ChargeSum *cheapest = nullptr, *dearest = nullptr;
  for (const ChargeSum& sum : van.by_place) {
    out.table.lines.push_back({{}, {}, sum_cells(sum, words)});
    if (!sum.cost_per_kwh.figure) continue;
    ChartPoint point = point_of(place_name(sum), *sum.cost_per_kwh.figure);
    point.note = counted(sum.charges, "charge", "charges");
    out.chart.points.push_back(std::move(point));
    // Of a place that nobody knows the price is every price there is.
    if (sum.place.empty()) continue;
    const double price = sum.cost_per_kwh.figure->value;
    if (cheapest == nullptr || price < cheapest->cost_per_kwh.figure->value) cheapest = &sum;
    if (dearest == nullptr || price > dearest->cost_per_kwh.figure->value) dearest = &sum;
  }
  out.chart.van = van.names.van;
  out.chart.x_type = "category";
  out.chart.x_label = "place";
  out.chart.y_label = in_currency("cost of a kWh at the socket", words);
  out.chart.from_zero = true;
  if (cheapest == nullptr) {
    out.finding = van.by_place.empty()
                      ? kNoCharge
                      : "What a kWh cost is not known: no charge has both energy, place and cost.";
  } else {
    const Figure &low = *cheapest->cost_per_kwh.figure, &high = *dearest->cost_per_kwh.figure;
    if (cheapest == dearest)
      out.finding = fmt::format("A kWh cost {} at {}.", words.price(low), cheapest->place);
    else if (apart(low, high))
      out.finding = fmt::format("A kWh cost more at {}, {}, than at {}, {}.", dearest->place,
                                words.price(high), cheapest->place, words.price(low));
    else
      out.finding = fmt::format("Prices are not told apart: {} at {}, {} at {}.", words.price(low),
                                cheapest->place, words.price(high), dearest->place);
  }
  out.chart.says = out.finding;
  return out;
}

}  // namespace packmile::report
