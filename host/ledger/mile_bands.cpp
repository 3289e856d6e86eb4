#include "ledger/mile_bands.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "energy/slow_signals.hpp"
#include "ledger/figure_sum.hpp"

namespace packmile {
namespace {

// The distance and the mean temperature of some trips.
struct TripMeans {
  FigureSum km;
  double c_km = 0, km_with_c = 0;

  void add(const Trip& trip) {
    km.add(trip.distance_km);
    if (!trip.distance_km.figure || !trip.ambient_mean_c) return;
    c_km += *trip.ambient_mean_c * trip.distance_km.figure->value;
    km_with_c += trip.distance_km.figure->value;
  }
  [[nodiscard]] std::optional<double> mean_c() const {
    return km_with_c > 0 ? std::optional{c_km / km_with_c} : std::nullopt;
  }
};

MaybeFigure gain_of(const TraceLines& trace, const Period& period) {
  const OdometerReading *first = nullptr, *last = nullptr;
  for (const OdometerReading& reading : trace.odometer) {
    if (period.to && reading.time >= *period.to) break;
    if (period.holds(reading.time)) last = &reading;
    if (first == nullptr || (period.from && reading.time < *period.from)) first = &reading;
  }
  if (last == nullptr || first == last)
    return MaybeFigure::unknown("the odometer was not read twice for this month");
  const double km = last->odometer_km - first->odometer_km;
  return MaybeFigure::known({km, std::max(0.0, km - kOdometerStepKm), km + kOdometerStepKm, 0});
}

}  // namespace

std::vector<MileBand> miles_by_temperature(const VanParts& parts, const Period& period,
                                           const Zone& zone) {
  struct Band {
    VanParts parts;
    TripMeans means;
  };
  std::map<double, Band> bands;
  for (const Trip& trip : parts.trips) {
    if (!period.holds(trip.start) || !trip.ambient_mean_c || !trip.distance_km.figure) continue;
    Band& band = bands[std::floor(*trip.ambient_mean_c / kMileBandC) * kMileBandC];
    band.parts.trips.push_back(trip);
    band.means.add(trip);
  }
  std::vector<MileBand> out;
  for (auto& [from_c, band] : bands) {
    band.parts.facts = parts.facts;
    MileBand one{from_c, band.parts.trips.size(), band.means.mean_c().value_or(from_c), {}, {}};
    one.kwh_per_mile = throughput_of(band.parts, {}, zone).kwh_per_mile;
    const Figure km = band.means.km.figure();
    one.miles = MaybeFigure::known({km.value / kKmPerMile, km.low / kKmPerMile,
                                    km.high / kKmPerMile, km.scatter / kKmPerMile});
    out.push_back(std::move(one));
  }
  return out;
}

std::vector<MonthThroughput> throughput_by_month(const VanParts& parts, UtcTime from, UtcTime to,
                                                 const Zone& zone) {
  std::optional<UtcTime> first;
  const auto look = [&](const auto& rows) {
    for (const auto& row : rows)
      if (!row.start_doubt.boundless() && row.start >= from && row.start < to)
        first = std::min(first.value_or(row.start), row.start);
  };
  look(parts.trips);
  look(parts.sessions);
  look(parts.stands);
  std::vector<MonthThroughput> out;
  if (!first) return out;
  for (UtcTime at = *first; at < to;) {
    const Zone::Month month = zone.month_of(at);
    const Period period{std::max(month.from, from), std::min(month.to, to)};
    TripMeans means;
    for (const Trip& trip : parts.trips)
      if (period.holds(trip.start)) means.add(trip);
    out.push_back({zone.day(at).substr(0, 7), *period.from, *period.to,
                   means.km.maybe("no trip of this month has a distance"),
                   gain_of(parts.trace, period), means.mean_c(),
                   throughput_of(parts, period, zone)});
    at = month.to;
  }
  return out;
}

}  // namespace packmile
