#include <fmt/format.h>

#include <algorithm>

#include "report/exhibits.hpp"
#include "report/number_text.hpp"

namespace packmile::report {
namespace {

// Fewer trips make a band that one odd day can carry (common practice, no source).
constexpr std::size_t kLeastBandTrips = 5;

std::string maybe_text(const MaybeFigure& figure, double factor = 1, int decimals = 1) {
  return figure.figure ? range_words(*figure.figure, factor, decimals) : "not known";
}

std::string celsius_text(const std::optional<double>& c) {
  return c ? number_text(*c, 0) : "not known";
}

std::string band_text(const MileBand& band) {
  return fmt::format("{} to {} degC", number_text(band.from_c, 0),
                     number_text(band.from_c + kMileBandC, 0));
}

std::string depth_text(std::size_t k) {
  return fmt::format("{:.0f} to {:.0f}", kSwingDepthsPct[k], kSwingDepthsPct[k + 1]);
}

}  // namespace

Exhibit energy_by_month(const VanEvidence& van, const DepotEvidence& depot) {
  const Words& words = depot.words;
  Exhibit out{"miles", "Energy by month", {}, {}, {}};
  const std::string unit = fmt::format("kWh a {}", words.each_distance());
  out.table = {
      fmt::format("{}: energy by month", van.names.van),
      {{"month"}, {unit, true}, {std::string{words.distance_unit()}, true}, {"degC", true}},
      {}};
  const MonthThroughput *least = nullptr, *most = nullptr;
  for (const MonthThroughput& month : van.months) {
    const MaybeFigure& energy = month.through.kwh_per_mile;
    out.table.lines.push_back(
        {month.month,
         {},
         {month_words(month.month), maybe_text(energy, words.per_mile(), 3),
          maybe_text(month.distance, words.of_km(), 0), celsius_text(month.ambient_c)}});
    if (!energy.figure) continue;
    ChartPoint point = point_of(month.month, *energy.figure, words.per_mile());
    if (month.ambient_c) point.note = celsius_text(month.ambient_c) + " degC";
    out.chart.points.push_back(std::move(point));
    if (least == nullptr || energy.figure->value < least->through.kwh_per_mile.figure->value)
      least = &month;
    if (most == nullptr || energy.figure->value > most->through.kwh_per_mile.figure->value)
      most = &month;
  }
  out.chart.van = van.names.van;
  out.chart.x_label = "month";
  out.chart.y_label = unit;
  if (least == nullptr) {
    out.finding = sentence("its energy by distance is not known: " + van.through.kwh_per_mile.why);
  } else {
    const Figure &low = *least->through.kwh_per_mile.figure,
                 &high = *most->through.kwh_per_mile.figure;
    if (least == most)
      out.finding = fmt::format("It took {} in {}.", words.energy_per_distance(low),
                                month_words(least->month));
    else if (apart(low, high))
      out.finding = fmt::format("It took more in {}, {}, than in {}, {}.", month_words(most->month),
                                words.energy_per_distance(high), month_words(least->month),
                                words.energy_per_distance(low));
    else
      out.finding = fmt::format("No month is told apart from another: {} in {}, {} in {}.",
                                words.energy_per_distance(low), month_words(least->month),
                                words.energy_per_distance(high), month_words(most->month));
  }
  out.chart.says = out.finding;
  return out;
}

Exhibit energy_by_temperature(const VanEvidence& van, const DepotEvidence& depot) {
  const Words& words = depot.words;
  Exhibit out{"temperature", "Energy against temperature", {}, {}, {}};
  const std::string unit = fmt::format("kWh a {}", words.each_distance());
  out.table = {
      fmt::format("{}: energy by the temperature outside", van.names.van),
      {{"degC"}, {unit, true}, {std::string{words.distance_unit()}, true}, {"trips", true}},
      {}};
  const MileBand *coldest = nullptr, *least = nullptr;
  for (const MileBand& band : van.bands) {
    out.table.lines.push_back(
        {{},
         {},
         {band_text(band), maybe_text(band.kwh_per_mile, words.per_mile(), 3),
          maybe_text(band.miles, words.miles ? 1 : kKmPerMile, 0), std::to_string(band.trips)}});
    if (!band.kwh_per_mile.figure) continue;
    ChartPoint point = point_of(band.mean_c, *band.kwh_per_mile.figure, words.per_mile());
    point.note = counted(band.trips, "trip", "trips");
    out.chart.points.push_back(std::move(point));
    if (band.trips < kLeastBandTrips) continue;
    if (coldest == nullptr) coldest = &band;
    if (least == nullptr || band.kwh_per_mile.figure->value < least->kwh_per_mile.figure->value)
      least = &band;
  }
  out.chart.van = van.names.van;
  out.chart.x_type = "number";
  out.chart.x_label = "degC outside, mean of the trips";
  out.chart.y_label = unit;
  if (coldest == nullptr) {
    out.finding = fmt::format(
        "What the cold costs is not known: no band of {:.0f} degrees has {} trips with energy and "
        "temperature.",
        kMileBandC, kLeastBandTrips);
  } else {
    const Figure &cold = *coldest->kwh_per_mile.figure, &mild = *least->kwh_per_mile.figure;
    if (coldest == least)
      out.finding = fmt::format("It took {} at {}, and no less in any other band.",
                                words.energy_per_distance(mild), band_text(*least));
    else if (apart(cold, mild))
      out.finding = fmt::format("It took more at {}, {}, than at {}, {}.", band_text(*coldest),
                                words.energy_per_distance(cold), band_text(*least),
                                words.energy_per_distance(mild));
    else
      out.finding = fmt::format("The temperature does not show: {} at {}, {} at {}.",
                                words.energy_per_distance(cold), band_text(*coldest),
                                words.energy_per_distance(mild), band_text(*least));
  }
  out.chart.says = out.finding;
  return out;
}

Exhibit throughput_of_months(const VanEvidence& van, const DepotEvidence&) {
  Exhibit out{"through", "Through the pack", {}, {}, {}};
  out.table = {fmt::format("{}: out of the pack and into it", van.names.van),
               {{"month"},
                {"out, kWh", true},
                {"in, kWh", true},
                {"standing, kWh", true},
                {"full cycles", true}},
               {}};
  for (const MonthThroughput& month : van.months) {
    const Throughput& t = month.through;
    out.table.lines.push_back(
        {month.month,
         {},
         {month_words(month.month), maybe_text(t.discharge_kwh), maybe_text(t.charge_kwh),
          maybe_text(t.standing_kwh), maybe_text(t.full_cycles)}});
    if (t.discharge_kwh.figure)
      out.chart.points.push_back(point_of(month.month, *t.discharge_kwh.figure));
  }
  out.chart.kind = "bars";
  out.chart.van = van.names.van;
  out.chart.x_label = "month";
  out.chart.y_label = "kWh out of the pack";
  out.chart.from_zero = true;
  const Throughput& all = van.through;
  if (!all.discharge_kwh.figure) {
    out.finding = sentence("what went through its pack is not known: " + all.discharge_kwh.why);
  } else {
    out.finding =
        fmt::format("{} kWh went out of the pack", range_words(*all.discharge_kwh.figure));
    if (all.charge_kwh.figure)
      out.finding += fmt::format(" and {} into it", range_words(*all.charge_kwh.figure));
    out.finding +=
        all.full_cycles.figure
            ? fmt::format(": {} full cycles", range_words(*all.full_cycles.figure))
            : fmt::format("; how many full cycles that is, is not known: {}", all.full_cycles.why);
    out.finding = sentence(out.finding);
  }
  out.chart.says = out.finding;
  return out;
}

Exhibit swings(const VanEvidence& van, const DepotEvidence&) {
  Exhibit out{"swings", "Swings of the state of charge", {}, {}, {}};
  out.table = {
      fmt::format("{}: swings by depth", van.names.van), {{"points deep"}, {"swings", true}}, {}};
  out.chart.kind = "bars";
  out.chart.van = van.names.van;
  out.chart.x_type = "category";
  out.chart.x_label = "points of the state of charge";
  out.chart.y_label = "swings";
  out.chart.from_zero = true;
  if (!van.through.swings || van.through.swings->empty()) {
    out.finding = sentence("how deep its charge swings is not known: " +
                           (van.through.swings ? "no swing was seen" : van.through.swings_why));
    out.chart.says = out.finding;
    return out;
  }
  const SwingCounts counts = swings_by_depth(*van.through.swings);
  double all = 0;
  std::size_t most = 0;
  for (std::size_t k = 0; k < counts.size(); ++k) {
    out.table.lines.push_back({{}, {}, {depth_text(k), number_text(counts[k], 1)}});
    ChartPoint point;
    point.x = depth_text(k);
    point.y = counts[k];
    out.chart.points.push_back(std::move(point));
    all += counts[k];
    if (counts[k] > counts[most]) most = k;
  }
  out.finding = fmt::format("Of {} swings {} were {} points deep, the most common depth.",
                            grouped(number_text(all, 0)), grouped(number_text(counts[most], 0)),
                            depth_text(most));
  const auto awake = [&](const MaybeFigure& hours, double pct, std::string_view side) {
    if (hours.figure)
      out.finding += fmt::format(" Awake at {:.0f} % or {}: {} h.", pct, side,
                                 range_words(*hours.figure, 1, 0));
  };
  awake(van.through.hours_soc_high, kSocHighPct, "more");
  awake(van.through.hours_soc_low, kSocLowPct, "less");
  out.chart.says = out.finding;
  return out;
}

}  // namespace packmile::report
