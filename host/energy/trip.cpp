#include "energy/trip.hpp"

#include <algorithm>
#include <cmath>

#include "energy/distance.hpp"
#include "energy/driving.hpp"
#include "energy/slow_signals.hpp"
#include "energy/soc_energy.hpp"
#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

constexpr double kLeastKmForRatio = 1;
constexpr double kLeastCoverage = 0.5;
// An ambient temperature that is older tells nothing about the trip.
constexpr std::int64_t kAmbientOldMs = 30 * 60'000;
constexpr const char* kSocTellsNetOnly = "the state of charge tells the net energy only";

std::optional<double> mean_ambient_c(const SignalSeries& ambient, const Span& span) {
  const IndexRange range = samples_in(ambient, span);
  if (range.empty()) {
    const auto last = before(ambient, span.from_ms);
    if (!last || span.from_ms - last->time_ms > kAmbientOldMs) return std::nullopt;
    return static_cast<double>(last->raw) - 40;
  }
  double sum = 0;
  for (std::size_t i = range.from; i < range.past; ++i) sum += ambient.raw[i];
  return sum / static_cast<double>(range.size()) - 40;
}

void set_no_lobes(Trip& trip, const std::string& why) {
  trip.discharge_kwh = trip.regen_kwh = MaybeFigure::unknown(why);
  trip.discharge_ah = trip.regen_ah = MaybeFigure::unknown(why);
}

// Energy by the state of charge; false: not to be had.
bool set_soc_energy(Trip& trip, std::optional<double> fallen_pct, const VanFacts& facts,
                    const std::string& why) {
  const char* missing = !fallen_pct.has_value() ? "the state of charge was not answered"
                        : !facts.nominal_kwh.has_value()
                            ? "nominal_kwh of the van is not in fleet.toml"
                            : nullptr;
  if (missing != nullptr) {
    const std::string reason = why + "; " + missing;
    trip.net_kwh = MaybeFigure::unknown(reason);
    set_no_lobes(trip, reason);
    return false;
  }
  trip.net_kwh =
      MaybeFigure::known(soc_energy_kwh(*fallen_pct, trip.soc_step_pct, *facts.nominal_kwh));
  set_no_lobes(trip, kSocTellsNetOnly);
  trip.energy_method = EnergyMethod::soc_nominal;
  trip.filled_kwh = MaybeFigure::unknown("the state of charge has no gaps to fill");
  return true;
}

void set_integrated(Trip& trip, const PackEnergy& energy, const EnergyRules& rules) {
  trip.energy_method = EnergyMethod::integrated;
  trip.net_kwh = MaybeFigure::known(energy.integral.net_figure_kwh(rules));
  trip.discharge_kwh = MaybeFigure::known(energy.integral.discharge_figure_kwh(rules));
  trip.regen_kwh = MaybeFigure::known(energy.integral.charge_figure_kwh(rules));
  trip.discharge_ah = MaybeFigure::known(energy.integral.discharge_figure_ah(rules));
  trip.regen_ah = MaybeFigure::known(energy.integral.charge_figure_ah(rules));
}

void look_for_frozen(Trip& trip, const SegmentInput& input, const PackEnergy& energy) {
  const SignalSeries& speed = input.episode.speed;
  for (const Span& span : energy.habits.frozen) {
    const IndexRange range = samples_in(speed, span);
    if (range.size() < 2 || speed.raw[range.from] == 0) continue;
    // The speed must have stood still for the minute too.
    const auto begin = speed.raw.begin() + static_cast<std::ptrdiff_t>(range.from);
    const auto end = speed.raw.begin() + static_cast<std::ptrdiff_t>(range.past);
    const bool same = std::all_of(begin, end, [&](std::uint32_t v) { return v == *begin; });
    if (same) add_finding(trip.findings, Finding::frozen_signals);
  }
}

}  // namespace

void set_energy_per_distance(Trip& trip, const std::string& doubt) {
  const auto refuse = [&](const std::string& why) {
    trip.kwh_per_mile = trip.wh_per_km = MaybeFigure::unknown(why);
  };
  if (!trip.net_kwh.figure) return refuse(trip.net_kwh.why);
  if (!trip.distance_km.figure) return refuse(trip.distance_km.why);
  if (!doubt.empty()) return refuse(doubt);
  const Figure& km = *trip.distance_km.figure;
  if (km.value < kLeastKmForRatio) return refuse("shorter than 1 km");
  Figure kwh = *trip.net_kwh.figure;
  if (trip.filled_kwh.figure) kwh = sum_of(kwh, *trip.filled_kwh.figure);
  const Figure per_km = ratio_of(kwh, km);
  trip.wh_per_km = MaybeFigure::known(scaled(per_km, 1e3));
  trip.kwh_per_mile = MaybeFigure::known(scaled(per_km, kKmPerMile));
}

Trip build_trip(const SegmentInput& input, const Segment& segment) {
  Trip trip;
  const Episode& episode = input.episode;
  trip.start = utc_of(segment.span.from_ms);
  trip.end = utc_of(segment.span.to_ms);
  trip.start_doubt = episode.doubt_of(trip.start);
  trip.end_doubt = episode.doubt_of(trip.end);
  add_clock_findings(trip.findings, episode);

  const TripDistance distance =
      distance_of(episode, segment.span, segment.moving, input.odometer_whole_km, input.rules);
  trip.distance_km = distance.km;
  trip.distance_source = distance.source;
  for (const Finding finding : distance.findings) add_finding(trip.findings, finding);

  if (const auto driving = driving_of(episode, segment.moving, input.rules)) {
    trip.moving_kmh = driving->moving_kmh;
    trip.stops = driving->stops;
  }

  const auto soc_first = first_in(episode.soc, segment.span);
  const auto soc_last = last_in(episode.soc, segment.span);
  std::optional<double> fallen;
  if (soc_first && soc_last && soc_last->time_ms > soc_first->time_ms) {
    fallen = (static_cast<double>(soc_first->raw) - static_cast<double>(soc_last->raw)) *
             episode.soc_step_pct;
  }
  if (soc_first) trip.soc_start_pct = soc_first->raw * episode.soc_step_pct;
  if (soc_last) trip.soc_end_pct = soc_last->raw * episode.soc_step_pct;
  trip.soc_step_pct = episode.soc_step_pct;
  trip.ambient_mean_c = mean_ambient_c(episode.ambient, segment.span);

  const PackEnergy energy = pack_energy_of(input, segment);
  trip.coverage = energy.coverage;
  trip.current_verdict = energy.verdict;
  for (const Finding finding : energy.findings) add_finding(trip.findings, finding);
  trip.filled_kwh = MaybeFigure::unknown(energy.why);
  SocStory soc;
  if (energy.shown) {
    look_for_frozen(trip, input, energy);
    soc = soc_story(input, segment);
    if (soc.against_current) add_finding(trip.findings, Finding::soc_against_current);
  }
  if (!soc.stuck_why.empty()) {
    trip.current_verdict = CurrentVerdict::contradictory;
    add_finding(trip.findings, Finding::soc_against_current);
    trip.net_kwh = MaybeFigure::unknown(soc.stuck_why);
    trip.filled_kwh = MaybeFigure::unknown(soc.stuck_why);
    set_no_lobes(trip, soc.stuck_why);
  } else if (energy.shown && energy.coverage < kLeastCoverage) {
    const std::string why = "less than half of the trip was seen";
    trip.filled_kwh = MaybeFigure::unknown(why);
    set_soc_energy(trip, fallen, input.facts, why);
  } else if (energy.shown) {
    set_integrated(trip, energy, input.rules);
    const double km = distance.km.figure ? distance.km.figure->value : -1;
    trip.filled_kwh = fill_gaps(input, segment, energy, km);
  } else if (energy.silent) {
    set_soc_energy(trip, fallen, input.facts, energy.why);
  } else {
    trip.net_kwh = MaybeFigure::unknown(energy.why);
    set_no_lobes(trip, energy.why);
  }
  set_energy_per_distance(trip, distance.doubt);
  return trip;
}

Trip build_unseen_trip(const UnseenDrive& drive, const VanFacts& facts, const EnergyRules& rules) {
  Trip trip;
  trip.start = drive.start;
  trip.end = drive.end;
  trip.start_doubt = drive.start_doubt;
  trip.end_doubt = drive.end_doubt;
  trip.distance_km = MaybeFigure::known(
      figure_of(drive.km, u_of_floor_difference_km(0.1), rules.odometer_scale_u * drive.km));
  trip.distance_source = DistanceSource::odometer;
  trip.soc_start_pct = drive.soc_start_pct;
  trip.soc_end_pct = drive.soc_end_pct;
  trip.soc_step_pct = drive.soc_step_pct;
  trip.current_verdict = drive.verdict;
  add_finding(trip.findings, Finding::gap);
  add_finding(trip.findings, Finding::low_coverage);
  const std::string why = "nothing was heard of the van while it drove";
  trip.filled_kwh = MaybeFigure::unknown(why);
  set_soc_energy(trip, drive.fallen_pct, facts, why);
  set_energy_per_distance(trip, "");
  return trip;
}

}  // namespace packmile
