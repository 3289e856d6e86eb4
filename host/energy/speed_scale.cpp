#include "energy/speed_scale.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "energy/slow_signals.hpp"

namespace packmile {
namespace {

constexpr double kStretchKm = 5;
constexpr double kLeastKm = 200;
constexpr std::size_t kLeastStretches = 10;
// The odometer is placed where it steps between two answers no further apart.
constexpr std::int64_t kScaleStepTimedMs = 15'000;
// What a cut takes of every km/h answered.
constexpr double kCutKmh = 0.5;
// An answer is taken where the other one is three standard uncertainties away.
constexpr double kApart = 3;
// A real speedometer is not exact to a tenth of a km/h. A judgment.
constexpr double kShapeU_kmh = 0.05;
constexpr double kSureScaleU = 0.005;
constexpr double kLeastNoteKm = 100;
constexpr double kSameScale = 0.01;
// Without an odometer: more than this is driving that nobody logged, or miles.
constexpr double kSpeedScaleMost = 0.15;

// A speed and its time, summed in whole numbers: km/h * ms twice.
struct Way {
  std::int64_t twice_kmh_ms = 0;
  std::int64_t moving_ms = 0;
  [[nodiscard]] double km() const { return static_cast<double>(twice_kmh_ms) / 2 / 3.6e6; }
};

// Sums of the speed up to any moment, asked in order of time.
class SpeedSum {
 public:
  explicit SpeedSum(const SignalSeries& speed) : speed_(speed) {}
  // Way from the first sample to t; broken() tells of a pause before it.
  Way at(std::int64_t t_ms) {
    while (next_ < speed_.time_ms.size() && speed_.time_ms[next_] <= t_ms) {
      const std::int64_t step_ms = speed_.time_ms[next_] - speed_.time_ms[next_ - 1];
      add(way_, next_, step_ms);
      // A van that stands is asked every ten seconds, and stands on.
      if (step_ms > kSpeedHeldMs && (speed_.raw[next_ - 1] > 0 || speed_.raw[next_] > 0))
        last_break_ms_ = speed_.time_ms[next_];
      ++next_;
    }
    Way way = way_;
    if (next_ < speed_.time_ms.size()) {
      add(way, next_, t_ms - speed_.time_ms[next_ - 1]);
    }
    return way;
  }
  [[nodiscard]] std::int64_t last_break_ms() const { return last_break_ms_; }

 private:
  void add(Way& way, std::size_t i, std::int64_t step_ms) const {
    const auto v0 = static_cast<std::int64_t>(speed_.raw[i - 1]);
    const auto v1 = static_cast<std::int64_t>(speed_.raw[i]);
    way.twice_kmh_ms += (v0 + v1) * step_ms;
    // A ramp from rest lacks half of what a steady speed lacks.
    way.moving_ms += (((v0 > 0) + (v1 > 0)) * step_ms) / 2;
  }
  const SignalSeries& speed_;
  std::size_t next_ = 1;
  Way way_;
  std::int64_t last_break_ms_ = std::numeric_limits<std::int64_t>::min();
};

}  // namespace

std::optional<SpeedFit> fit_speed(std::span<const SpeedStretch> stretches) {
  if (stretches.size() < 3) return std::nullopt;
  double xx = 0, xt = 0, tt = 0, xy = 0, ty = 0;
  for (const SpeedStretch& s : stretches) {
    const double w = s.u_km > 0 ? 1 / (s.u_km * s.u_km) : 1;
    xx += w * s.speed_km * s.speed_km;
    xt += w * s.speed_km * s.moving_h;
    tt += w * s.moving_h * s.moving_h;
    xy += w * s.speed_km * s.odometer_km;
    ty += w * s.moving_h * s.odometer_km;
  }
  const double det = xx * tt - xt * xt;
  // All of one mean speed to a part in a million is no plane.
  if (!(xx > 0) || !(det > 1e-12 * xx * tt)) return std::nullopt;
  SpeedFit fit;
  fit.k = (xy * tt - ty * xt) / det;
  fit.c_kmh = (ty * xx - xy * xt) / det;
  double chi2 = 0;
  for (const SpeedStretch& s : stretches) {
    const double w = s.u_km > 0 ? 1 / (s.u_km * s.u_km) : 1;
    const double left = s.odometer_km - fit.k * s.speed_km - fit.c_kmh * s.moving_h;
    chi2 += w * left * left;
  }
  const double scatter =
      std::max(1.0, std::sqrt(chi2 / (static_cast<double>(stretches.size()) - 2)));
  fit.u_k = scatter * std::sqrt(tt / det);
  fit.u_c_kmh = scatter * std::sqrt(xx / det);
  fit.k_rounded = xy / xx;
  fit.k_cut = (xy - kCutKmh * xt) / xx;
  // The cut is not quite half a km/h, nor the rounding quite nothing.
  fit.u_k_alone = std::hypot(scatter / std::sqrt(xx), kShapeU_kmh * xt / xx);
  if (!std::isfinite(fit.k) || !std::isfinite(fit.u_c_kmh)) return std::nullopt;
  return fit;
}

void SpeedScale::observe(const Episode& episode) {
  const SignalSeries& speed = episode.speed;
  if (speed.time_ms.size() < 2) return;
  Seen& seen = seen_[{speed.ecu, speed.calibration_id}];
  if (!seen.any) seen.first_ms = speed.time_ms.front();
  seen.any = true;
  seen.first_ms = std::min(seen.first_ms, speed.time_ms.front());
  seen.last_ms = std::max(seen.last_ms, speed.time_ms.back());
  find_stretches(episode, seen);
}

void SpeedScale::find_stretches(const Episode& episode, Seen& seen) const {
  const SignalSeries& speed = episode.speed;
  const SignalSeries& odometer = episode.odometer;
  SpeedSum sum{speed};
  struct Place {
    std::int64_t time_ms = 0;
    double km = 0;
    double u_km = 0;
    Way way;
  };
  Place first;
  bool begun = false;
  if (!odometer.raw.empty()) {
    for (const std::size_t i : {std::size_t{0}, odometer.raw.size() - 1})
      seen.odometer.push_back({odometer.time_ms[i], odometer.raw[i] * kOdometerStepKm});
  }
  for (std::size_t i = 1; i < odometer.raw.size(); ++i) {
    if (odometer.raw[i] == odometer.raw[i - 1]) continue;
    const std::int64_t before_ms = odometer.time_ms[i - 1];
    const std::int64_t now_ms = odometer.time_ms[i];
    if (odometer.raw[i] < odometer.raw[i - 1]) {
      begun = false;
      continue;
    }
    const bool answered = before_ms >= speed.time_ms.front() && now_ms <= speed.time_ms.back();
    if (!answered || now_ms - before_ms > kScaleStepTimedMs) continue;
    Place here;
    here.time_ms = now_ms;
    const Way early = sum.at(before_ms);
    here.way = sum.at(now_ms);
    // Where the odometer can be now: it read the one and reads the other, and
    // between them the van drove so far.
    const std::uint32_t step = odometer.raw[i] - odometer.raw[i - 1];
    const double unit = step % 10 == 0 ? 10 : 1;
    const double driven = (here.way.km() - early.km()) / kOdometerStepKm;
    const double was = odometer.raw[i - 1];
    const double is = odometer.raw[i];
    const double low = std::max(is, was + driven);
    const double high = std::min(is + unit, was + unit + driven);
    if (high <= low) continue;
    here.km = (low + high) / 2 * kOdometerStepKm;
    here.u_km = (high - low) / std::sqrt(12.0) * kOdometerStepKm;
    if (!begun || sum.last_break_ms() > first.time_ms) {
      first = here;
      begun = true;
      continue;
    }
    if (here.km - first.km < kStretchKm) continue;
    SpeedStretch stretch;
    stretch.odometer_km = here.km - first.km;
    stretch.speed_km = here.way.km() - first.way.km();
    stretch.moving_h = static_cast<double>(here.way.moving_ms - first.way.moving_ms) / 3.6e6;
    stretch.u_km = std::hypot(here.u_km, first.u_km);
    if (stretch.moving_h > 0 && stretch.u_km > 0) seen.stretches.push_back(stretch);
    first = here;
  }
  seen.travelled.push_back({speed.time_ms.front(), seen.speed_km});
  seen.speed_km += sum.at(speed.time_ms.back()).km();
  seen.travelled.push_back({speed.time_ms.back(), seen.speed_km});
}

namespace {

using Course = std::vector<std::pair<std::int64_t, double>>;

// What a course says for a note, as an interval; nullopt: it does not reach so far.
std::optional<std::pair<double, double>> at_note(const Course& course, const NotedOdometer& note) {
  const std::int64_t from_ms = note.from.time_since_epoch().count();
  const std::int64_t to_ms = note.to.time_since_epoch().count();
  const auto behind =
      std::upper_bound(course.begin(), course.end(), from_ms,
                       [](std::int64_t t_ms, const auto& point) { return t_ms < point.first; });
  const auto after =
      std::lower_bound(course.begin(), course.end(), to_ms,
                       [](const auto& point, std::int64_t t_ms) { return point.first < t_ms; });
  if (behind == course.begin() || after == course.end()) return std::nullopt;
  return std::pair{std::prev(behind)->second, after->second};
}

// Cut down or rounded: half a km/h of a town's 25 against that of all roads, as a
// rectangle. Common practice, no source.
constexpr double kUnknownRoundingU = 0.01;

struct NoteScale {
  double ratio = 0;  // km noted for one of the course's
  double half = 0;   // of the ratio, all that the days and the whole kilometres leave open
  double noted_km = 0;
};

// From the two notes furthest apart that the course reaches.
std::optional<NoteScale> scale_of(const Course& course, std::span<const NotedOdometer> notes) {
  std::optional<std::pair<NotedOdometer, std::pair<double, double>>> first, last;
  for (const NotedOdometer& note : notes) {
    const auto at = at_note(course, note);
    if (!at) continue;
    if (!first || note.from < first->first.from) first = {note, *at};
    if (!last || note.from > last->first.from) last = {note, *at};
  }
  if (!first || !last) return std::nullopt;
  NoteScale scale;
  scale.noted_km = last->first.km - first->first.km;
  const auto& [a_low, a_high] = first->second;
  const auto& [b_low, b_high] = last->second;
  const double course_km = (b_low + b_high) / 2 - (a_low + a_high) / 2;
  if (scale.noted_km < kLeastNoteKm || course_km <= 0) return std::nullopt;
  scale.ratio = scale.noted_km / course_km;
  // A dashboard shows whole kilometres.
  const double open_km = (b_high - b_low) / 2 + (a_high - a_low) / 2 + 1;
  scale.half = scale.ratio * open_km / course_km;
  return scale;
}

}  // namespace

EnergyRules rules_for_distance(std::span<const Verdict> verdicts, EnergyRules rules) {
  const Verdict* scale = nullptr;
  bool rounded = false;
  for (const Verdict& verdict : verdicts) {
    if (verdict.question == VerdictQuestion::speed_rounding &&
        verdict.answer == VerdictAnswer::agreed) {
      // What is cut down is short by time, not by distance: no factor mends it.
      if (verdict.word != "rounded") return rules;
      rounded = true;
    }
    if (verdict.question != VerdictQuestion::distance_scale) continue;
    if (verdict.answer == VerdictAnswer::contradictory || scale != nullptr) return rules;
    if (verdict.answer == VerdictAnswer::agreed && verdict.number) scale = &verdict;
  }
  if (scale == nullptr) return rules;
  const Figure& number = *scale->number;
  const double u = (number.high - number.low) / 2 / kZ95 / number.value;
  rules.km_per_speed_km = number.value;
  rules.speed_scale_u = std::hypot(rules.odometer_scale_u, u, rounded ? 0.0 : kUnknownRoundingU);
  return rules;
}

std::vector<Verdict> SpeedScale::decide(std::span<const NotedOdometer> notes) const {
  std::vector<Verdict> verdicts;
  for (const auto& [key, seen] : seen_) {
    Verdict rounding;
    rounding.question = VerdictQuestion::speed_rounding;
    rounding.ecu = key.first;
    rounding.calibration_id = key.second;
    rounding.seen_from = UtcTime{std::chrono::milliseconds{seen.first_ms}};
    rounding.decided_on = UtcTime{std::chrono::milliseconds{seen.last_ms}};
    Verdict scale = rounding;
    scale.question = VerdictQuestion::distance_scale;

    double km = 0;
    for (const SpeedStretch& stretch : seen.stretches) km += stretch.odometer_km;
    std::optional<SpeedFit> fit;
    if (km >= kLeastKm && seen.stretches.size() >= kLeastStretches) fit = fit_speed(seen.stretches);
    const std::string so_far = fmt::format(
        "{} stretches of 5 km or more between two steps of the odometer, {:.0f} km in all",
        seen.stretches.size(), km);
    double k = 0;
    double u_k = 0;
    if (seen.odometer.empty()) {
      rounding.answer = VerdictAnswer::not_applicable;
      rounding.evidence = "there is no odometer to hold the speed against";
    } else if (!fit) {
      rounding.evidence = so_far + (km < kLeastKm ? "; 200 km are needed: drive on"
                                                  : "; all of one mean speed: drive in town too");
    } else {
      rounding.evidence =
          fmt::format("{}: odometer = {:.4f} * speed {:+.2f} (+-{:.2f}) km/h * time moving", so_far,
                      fit->k, fit->c_kmh, kZ95 * fit->u_c_kmh);
      const double u = std::hypot(fit->u_c_kmh, kShapeU_kmh);
      const bool may_be_rounded = std::abs(fit->c_kmh) < kApart * u;
      const bool may_be_cut = std::abs(fit->c_kmh - kCutKmh) < kApart * u;
      k = fit->k;
      u_k = fit->u_k;
      if (may_be_rounded && may_be_cut) {
        rounding.evidence += "; drives of more unlike speeds would tell";
      } else if (!may_be_rounded && !may_be_cut) {
        rounding.answer = VerdictAnswer::contradictory;
        rounding.evidence += "; rounded is 0, cut down is 0.5: it is neither";
      } else {
        rounding.answer = VerdictAnswer::agreed;
        rounding.word = may_be_cut ? "cut" : "rounded";
        k = may_be_cut ? fit->k_cut : fit->k_rounded;
        u_k = fit->u_k_alone;
      }
    }

    // A course that ran backwards is none to look up a day in.
    const auto sorted = [](const Course& course) {
      return std::is_sorted(course.begin(), course.end());
    };
    const Course& course = seen.odometer.empty() ? seen.travelled : seen.odometer;
    const auto noted = sorted(course) ? scale_of(course, notes) : std::nullopt;
    if (!seen.odometer.empty()) {
      if (fit && u_k <= kSureScaleU) {
        scale.answer = VerdictAnswer::agreed;
        scale.number = figure_of(k, 0, u_k);
        scale.evidence = so_far;
      } else {
        scale.evidence = so_far + "; 200 km at unlike speeds are needed: drive on";
      }
      if (noted) {
        scale.evidence += fmt::format(
            "; {:.0f} km by notes are {:.4f} (+-{:.4f}) for each km of the van's odometer",
            noted->noted_km, noted->ratio, noted->half);
        if (std::abs(noted->ratio - 1) > noted->half + kSameScale) {
          scale.answer = VerdictAnswer::contradictory;
          scale.number.reset();
          scale.evidence += ": miles noted as km, or a note of another van";
        }
      } else {
        scale.evidence +=
            "; no two odometer notes, 100 km apart and within what was logged, confirm it";
      }
    } else if (noted) {
      scale.evidence = fmt::format(
          "no odometer is answered; {:.0f} km by notes are {:.4f} (+-{:.4f}) for each km of the "
          "speed",
          noted->noted_km, noted->ratio, noted->half);
      if (std::abs(noted->ratio - 1) > noted->half + kSpeedScaleMost) {
        scale.answer = VerdictAnswer::contradictory;
        scale.evidence += ": driving that was not logged, or miles noted as km";
      } else {
        scale.answer = VerdictAnswer::agreed;
        scale.number =
            Figure{noted->ratio, noted->ratio - noted->half, noted->ratio + noted->half, 0};
      }
    } else {
      scale.evidence =
          "no odometer is answered: note the dashboard's odometer twice, 100 km or more apart";
    }
    verdicts.push_back(std::move(rounding));
    verdicts.push_back(std::move(scale));
  }
  return verdicts;
}

}  // namespace packmile
