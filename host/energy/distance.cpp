#include "energy/distance.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "energy/slow_signals.hpp"

namespace packmile {
namespace {

constexpr double kOdometerLeastKm = 2;
constexpr double kWholeKmLeastKm = 20;
// Steps are timed where the odometer is asked at least this often (1 Hz and
// what a late answer adds).
constexpr std::int64_t kStepTimedMs = 1'500;
// No van is faster; a reading that is has jumped.
constexpr double kFastestKmh = 300;
constexpr double kDisagreeShare = 0.1;
constexpr double kDisagreeKm = 1;

struct Reading {
  double km = 0;
  double u_random = 0;
  double u_systematic = 0;
};

// What lies between the readings and the trip's ends, by speed.
Reading edges(const Episode& episode, const Span& before, const Span& after, double km_per_ms,
              const EnergyRules& rules) {
  const SpeedDistance first = km_by_speed(episode.speed, before);
  const SpeedDistance last = km_by_speed(episode.speed, after);
  Reading edge;
  edge.km = rules.km_per_speed_km * (first.km + last.km);
  edge.u_random = rules.km_per_speed_km * std::hypot(first.u_random_km, last.u_random_km);
  edge.u_systematic = rules.speed_scale_u * edge.km;
  // Without speed the way there is anything up to the mean speed.
  if (!first.known && !last.known) {
    const double unseen_ms = static_cast<double>(std::max<std::int64_t>(before.length_ms(), 0)) +
                             static_cast<double>(std::max<std::int64_t>(after.length_ms(), 0));
    edge.u_random = km_per_ms * unseen_ms / std::sqrt(3.0);
  }
  return edge;
}

// By the first and the last step, each placed between two readings at most
// kStepTimedMs apart.
std::optional<Reading> by_steps(const Episode& episode, const IndexRange& range, const Span& moving,
                                double km_per_ms, const EnergyRules& rules) {
  const SignalSeries& odometer = episode.odometer;
  std::optional<std::size_t> first;
  std::optional<std::size_t> last;
  for (std::size_t i = range.from + 1; i < range.past; ++i) {
    if (odometer.raw[i] == odometer.raw[i - 1]) continue;
    if (!first) first = i;
    last = i;
  }
  if (!first || *first == *last) return std::nullopt;
  const auto step_ms = [&](std::size_t i) { return odometer.time_ms[i] - odometer.time_ms[i - 1]; };
  if (step_ms(*first) > kStepTimedMs || step_ms(*last) > kStepTimedMs) return std::nullopt;
  const auto middle_ms = [&](std::size_t i) { return odometer.time_ms[i] - step_ms(i) / 2; };
  Reading reading;
  reading.km = (odometer.raw[*last] - odometer.raw[*first]) * kOdometerStepKm;
  const Reading edge =
      edges(episode, {std::min(moving.from_ms, middle_ms(*first)), middle_ms(*first)},
            {middle_ms(*last), std::max(moving.to_ms, middle_ms(*last))}, km_per_ms, rules);
  const auto u_step = [&](std::size_t i) {
    return km_per_ms * static_cast<double>(step_ms(i)) / std::sqrt(12.0);
  };
  reading.u_systematic = std::hypot(rules.odometer_scale_u * reading.km, edge.u_systematic);
  reading.km += edge.km;
  reading.u_random = std::hypot(u_step(*first), u_step(*last), edge.u_random);
  return reading;
}

Reading by_readings(const Episode& episode, const IndexRange& range, const Span& moving,
                    double km_per_ms, double step_km, const EnergyRules& rules) {
  const SignalSeries& odometer = episode.odometer;
  const std::size_t last = range.past - 1;
  Reading reading;
  reading.km = (odometer.raw[last] - odometer.raw[range.from]) * kOdometerStepKm;
  const std::int64_t first_ms = odometer.time_ms[range.from];
  const std::int64_t last_ms = odometer.time_ms[last];
  const Reading edge = edges(episode, {std::min(moving.from_ms, first_ms), first_ms},
                             {last_ms, std::max(moving.to_ms, last_ms)}, km_per_ms, rules);
  reading.u_systematic = std::hypot(rules.odometer_scale_u * reading.km, edge.u_systematic);
  reading.km += edge.km;
  reading.u_random = std::hypot(u_of_floor_difference_km(step_km), edge.u_random);
  return reading;
}

}  // namespace

double u_of_floor_difference_km(double step_km) { return step_km / std::sqrt(6.0); }

TripDistance distance_of(const Episode& episode, const Span& trip, const Span& moving,
                         bool whole_km, const EnergyRules& rules) {
  TripDistance result;
  const SignalSeries& odometer = episode.odometer;
  const IndexRange range = samples_in(odometer, trip);
  const double step_km = whole_km ? 1.0 : kOdometerStepKm;
  SpeedDistance speed = km_by_speed(episode.speed, moving);
  speed.km *= rules.km_per_speed_km;
  speed.u_random_km *= rules.km_per_speed_km;
  const bool speed_known = speed.known && speed_answered(episode, moving);

  bool odometer_good = range.size() >= 2;
  for (std::size_t i = range.from + 1; i < range.past; ++i) {
    const double change_km =
        (static_cast<double>(odometer.raw[i]) - static_cast<double>(odometer.raw[i - 1])) *
        kOdometerStepKm;
    const double hours = static_cast<double>(odometer.time_ms[i] - odometer.time_ms[i - 1]) / 3.6e6;
    if (change_km < 0) {
      result.findings.push_back(Finding::odometer_fell);
      result.doubt = "the odometer ran backwards";
      odometer_good = false;
      break;
    }
    // One whole kilometre at once is an odometer that counts or sends so.
    if (change_km > kFastestKmh * hours + 1.05) {
      result.findings.push_back(Finding::odometer_against_speed);
      result.doubt = "the odometer jumped";
      odometer_good = false;
      break;
    }
  }
  if (odometer_good) {
    const double plain_km =
        (odometer.raw[range.past - 1] - odometer.raw[range.from]) * kOdometerStepKm;
    const double km_per_ms =
        plain_km / static_cast<double>(std::max<std::int64_t>(moving.length_ms(), 1));
    std::optional<Reading> reading;
    if (!whole_km) reading = by_steps(episode, range, moving, km_per_ms, rules);
    if (!reading) reading = by_readings(episode, range, moving, km_per_ms, step_km, rules);
    if (speed_known) {
      const double apart = std::abs(reading->km - speed.km);
      if (apart > kDisagreeKm && apart > kDisagreeShare * reading->km) {
        result.findings.push_back(Finding::odometer_against_speed);
        result.doubt = "odometer and speed differ by more than a tenth";
      }
    }
    const double least_km = whole_km ? kWholeKmLeastKm : kOdometerLeastKm;
    if (reading->km >= least_km || !speed_known) {
      result.km =
          MaybeFigure::known(figure_of(reading->km, reading->u_random, reading->u_systematic));
      result.source = DistanceSource::odometer;
      return result;
    }
  }
  if (speed_known) {
    result.km =
        MaybeFigure::known(figure_of(speed.km, speed.u_random_km, rules.speed_scale_u * speed.km));
    result.source = DistanceSource::speed;
    return result;
  }
  result.km = MaybeFigure::unknown(result.doubt.empty() ? "neither odometer nor speed was answered"
                                                        : result.doubt);
  return result;
}

}  // namespace packmile
