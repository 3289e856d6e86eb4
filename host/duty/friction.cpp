#include "duty/friction.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <vector>

#include "pack/robust.hpp"

namespace packmile {
namespace {

constexpr double kHysteresisKmh = 3;
constexpr double kStandingKmh = 0.5;
constexpr double kKmhPerMs = 3.6;
constexpr double kJoulePerKwh = 3.6e6;
constexpr double kGravity = 9.80665;     // m/s^2, standard acceleration of free fall
constexpr double kHalfAirDensity = 0.6;  // kg/m^3, air at 20 degC and sea level
constexpr std::size_t kDraws = 500;
constexpr std::uint32_t kSeed = 12;
constexpr double kLeastFallsKwh = 0.5;
constexpr double kLeastSeenShare = 0.9;

double metres_per_s(double kmh) { return kmh / kKmhPerMs; }

// What the van takes at rest, kW: median over its standing.
double standing_kw(std::span<const DriveSample> trip) {
  std::vector<double> kw;
  for (const DriveSample& sample : trip)
    if (sample.speed_kmh < kStandingKmh && sample.pack_kw && *sample.pack_kw >= 0)
      kw.push_back(*sample.pack_kw);
  return median_of(std::move(kw));
}

FallSums sum_of_fall(std::span<const DriveSample> fall, double aux_kw) {
  FallSums out;
  const double v1 = metres_per_s(fall.front().speed_kmh);
  const double v2 = metres_per_s(fall.back().speed_kmh);
  out.kinetic_j_per_kg = (v1 * v1 - v2 * v2) / 2;
  for (std::size_t k = 1; k < fall.size(); ++k) {
    const DriveSample &a = fall[k - 1], &b = fall[k];
    const double step_s = b.time_s - a.time_s;
    const double v = metres_per_s((a.speed_kmh + b.speed_kmh) / 2);
    out.rolled_m += v * step_s;
    out.drag_m3_per_s2 += v * v * v * step_s;
    out.fall_s += step_s;
    if (!a.pack_kw || !b.pack_kw) continue;
    out.seen_s += step_s;
    out.regen_kwh += std::max(0.0, aux_kw - (*a.pack_kw + *b.pack_kw) / 2) * step_s / 3600;
  }
  return out;
}

}  // namespace

FallSums& FallSums::operator+=(const FallSums& other) {
  kinetic_j_per_kg += other.kinetic_j_per_kg;
  rolled_m += other.rolled_m;
  drag_m3_per_s2 += other.drag_m3_per_s2;
  regen_kwh += other.regen_kwh;
  fall_s += other.fall_s;
  seen_s += other.seen_s;
  return *this;
}

FallSums sum_falls(std::span<const DriveSample> trip) {
  FallSums out;
  const double aux_kw = standing_kw(trip);
  std::size_t peak = 0, low = 0;
  bool falls = false;
  const auto close = [&](std::size_t next) {
    if (falls) out += sum_of_fall(trip.subspan(peak, low - peak + 1), aux_kw);
    falls = false;
    peak = next;
  };
  for (std::size_t k = 1; k < trip.size(); ++k) {
    const double step_s = trip[k].time_s - trip[k - 1].time_s;
    const double kmh = trip[k].speed_kmh;
    if (!(step_s > 0) || step_s > kLongestFallStepS) {
      close(k);
    } else if (!falls) {
      // The last moment at the greatest speed is where a fall begins.
      if (kmh >= trip[peak].speed_kmh) peak = k;
      if (trip[peak].speed_kmh - kmh >= kHysteresisKmh) {
        falls = true;
        low = k;
      }
    } else if (kmh < trip[low].speed_kmh) {
      // The first moment at the least speed is its end: standing is no fall.
      low = k;
    } else if (kmh - trip[low].speed_kmh >= kHysteresisKmh) {
      close(k);
    }
  }
  close(0);
  return out;
}

double kinetic_kwh(double mass_kg, double speed_kmh) {
  const double v = metres_per_s(speed_kmh);
  return mass_kg * v * v / 2 / kJoulePerKwh;
}

std::string friction_assumes(const FrictionRules& rules) {
  return fmt::format(
      "assumed: half the payload, its mass to {:.0f} %; a level road; rolling {} to {}; drag area "
      "{} to {} m2; {:.0f} to {:.0f} % from the wheels to the pack (judgments, no source)",
      100 * rules.mass_u, rules.rolling_low, rules.rolling_high, rules.drag_area_low_m2,
      rules.drag_area_high_m2, 100 * rules.regen_low, 100 * rules.regen_high);
}

MaybeFigure friction_share(const FallSums& falls, double mass_kg, const FrictionRules& rules) {
  const double kinetic_kwh_all = falls.kinetic_j_per_kg * mass_kg / kJoulePerKwh;
  if (!(kinetic_kwh_all >= kLeastFallsKwh))
    return MaybeFigure::unknown(
        fmt::format("too early to tell: {:.2f} kWh of braking seen, {} are needed",
                    std::max(0.0, kinetic_kwh_all), kLeastFallsKwh));
  if (!(falls.seen_s >= kLeastSeenShare * falls.fall_s))
    return MaybeFigure::unknown("the pack's power was not seen for a tenth of the braking");
  std::mt19937 random{kSeed};
  // The standard library's distributions differ from one to another; this does not.
  const auto uniform = [&random](double low, double high) {
    return low + (high - low) * (static_cast<double>(random()) / 4294967296.0);
  };
  const auto share = [&](double mass, double rolling, double area, double regen) {
    const double freed = falls.kinetic_j_per_kg * mass * rules.rotating -
                         mass * kGravity * rolling * falls.rolled_m -
                         kHalfAirDensity * area * falls.drag_m3_per_s2;
    if (!(freed > 0)) return 0.0;
    return std::clamp(1 - falls.regen_kwh * kJoulePerKwh / regen / freed, 0.0, 1.0);
  };
  std::vector<double> drawn;
  for (std::size_t k = 0; k < kDraws; ++k) {
    const double mass = mass_kg * uniform(1 - rules.mass_u, 1 + rules.mass_u);
    const double rolling = uniform(rules.rolling_low, rules.rolling_high);
    const double area = uniform(rules.drag_area_low_m2, rules.drag_area_high_m2);
    drawn.push_back(share(mass, rolling, area, uniform(rules.regen_low, rules.regen_high)));
  }
  std::ranges::sort(drawn);
  constexpr auto at = [](double quantile) {
    return static_cast<std::size_t>(quantile * static_cast<double>(kDraws));
  };
  const double value = share(mass_kg, (rules.rolling_low + rules.rolling_high) / 2,
                             (rules.drag_area_low_m2 + rules.drag_area_high_m2) / 2,
                             (rules.regen_low + rules.regen_high) / 2);
  const double low = std::min(value, drawn[at(0.025)]), high = std::max(value, drawn[at(0.975)]);
  return MaybeFigure::known({value, low, high, 0});
}

}  // namespace packmile
