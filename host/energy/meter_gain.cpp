#include "energy/meter_gain.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "energy/session.hpp"

namespace packmile {
namespace {

constexpr std::size_t kLeastCharges = 3;
constexpr double kLeastKwh = 30;
constexpr double kLeastU = 0.01;
// What charges may differ by beyond their own errors: the charger's loss moves
// with its power. A judgment.
constexpr double kChargeU = 0.01;
constexpr double kMostScatter = 3;
constexpr char kCure[] =
    "meter three charges or more (packmile note --van V meter BEFORE AFTER, or receipt KWH SUM "
    "PLACE): without it energy is right against itself, not against a meter";

double usual_u(const EnergyRules& rules) {
  return std::hypot(rules.current_gain_u, rules.voltage_gain_u);
}

// One sensor in a thousand by chance: this one is not of the usual kind.
constexpr double kNotUsualSd = 3.29;

// In standard deviations of what charges and usual sensors may say together.
double strangeness(double gain, double u, const EnergyRules& rules) {
  return std::abs(gain - 1) / std::hypot(u, usual_u(rules));
}

}  // namespace

Verdict judge_gain(std::span<const MeteredCharge> charges) {
  Verdict verdict;
  verdict.question = VerdictQuestion::gain;
  std::size_t ac = 0, dc = 0;
  double words = 0, metered = 0;
  double sxx = 0, sxy = 0;
  double offset_term = 0;
  double loss_term = 0;  // what the charger's loss can do to the sum, kWh
  struct Point {
    double x, y, u;
  };
  std::vector<Point> points;
  for (const MeteredCharge& charge : charges) {
    const auto loss = charger_loss_of(charge.kind);
    if (!loss || !(charge.words_kwh > 0) || !(charge.meter_kwh > 0)) continue;
    ++(charge.kind == ChargeKind::ac ? ac : dc);
    const double hours = static_cast<double>((charge.end - charge.start).count()) / 3.6e6;
    const double real = charge.meter_kwh * loss->efficiency - loss->idle_kw * hours;
    const double u = std::hypot(charge.u_words_kwh, charge.u_meter_kwh * loss->efficiency,
                                kChargeU * charge.words_kwh);
    points.push_back({charge.words_kwh, real, u});
    words += charge.words_kwh;
    metered += charge.meter_kwh;
    offset_term += charge.u_offset_kwh;
    loss_term += std::hypot(charge.meter_kwh * loss->efficiency_half_width / std::sqrt(3.0),
                            hours * loss->idle_half_width / std::sqrt(3.0));
    verdict.decided_on = std::max(verdict.decided_on, charge.end);
  }
  if (points.size() < kLeastCharges || words < kLeastKwh) {
    verdict.evidence = fmt::format(
        "{} charges with {:.0f} kWh are metered and of a known kind, 3 with {:.0f} kWh "
        "are needed: {}",
        points.size(), words, kLeastKwh, kCure);
    return verdict;
  }
  for (const Point& p : points) {
    sxx += p.x * p.x / (p.u * p.u);
    sxy += p.x * p.y / (p.u * p.u);
  }
  const double gain = sxy / sxx;
  double chi2 = 0;
  for (const Point& p : points) chi2 += std::pow((p.y - gain * p.x) / p.u, 2);
  const double scatter = std::sqrt(chi2 / static_cast<double>(points.size() - 1));
  const double u_fit = std::max(1.0, scatter) / std::sqrt(sxx);
  const double u_loss = std::hypot(loss_term, offset_term) / words;
  const double u = std::max(kLeastU, std::hypot(u_fit, u_loss));
  verdict.evidence = fmt::format(
      "{} charges (AC {}, DC {}): {:.1f} kWh metered, {:.1f} kWh by the van's words, the charger's "
      "loss as it usually is: {:.3f} +-{:.3f}",
      points.size(), ac, dc, metered, words, gain, kZ95 * u);
  if (scatter > kMostScatter) {
    verdict.answer = VerdictAnswer::contradictory;
    verdict.evidence += "; they disagree by more than their errors: a note with the wrong charge?";
  } else {
    verdict.answer = VerdictAnswer::agreed;
    verdict.number = figure_of(gain, u_fit, std::sqrt(std::max(0.0, u * u - u_fit * u_fit)));
    if (strangeness(gain, u, EnergyRules{}) > kNotUsualSd)
      verdict.evidence += "; that is more than sensors are taken to be off";
  }
  return verdict;
}

SensorGain sensor_gain_of(const Figure& gain, const EnergyRules& rules) {
  const double u = (gain.high - gain.low) / 2 / kZ95;
  const double sd = strangeness(gain.value, u, rules);
  if (sd > kNotUsualSd)
    return {gain.value, u, gain.value, std::hypot(u, gain.value * rules.voltage_gain_u)};
  // The gain of energy is that of the current times that of the voltage, so what the
  // charges say of their product is shared out by what each may be off by.
  const double current2 = rules.current_gain_u * rules.current_gain_u;
  const double usual2 = current2 + rules.voltage_gain_u * rules.voltage_gain_u;
  const double all2 = usual2 + u * u;
  // Where the two contradict each other neither is believed to its width.
  const double wider = std::max(1.0, sd / kZ95);
  return {.energy = 1 + usual2 / all2 * (gain.value - 1),
          .u_energy = wider * std::sqrt(usual2 * (u * u) / all2),
          .charge = 1 + current2 / all2 * (gain.value - 1),
          .u_charge = wider * std::sqrt(current2 * (all2 - current2) / all2)};
}

bool take_gains(std::span<const Verdict> verdicts, std::vector<PackReading>& readings,
                const EnergyRules& rules) {
  bool any = false;
  for (PackReading& reading : readings) {
    for (const Verdict& verdict : verdicts) {
      if (verdict.question != VerdictQuestion::gain || verdict.answer != VerdictAnswer::agreed ||
          !verdict.number || verdict.ecu != reading.ecu ||
          verdict.calibration_id != reading.calibration_id)
        continue;
      reading.gain = sensor_gain_of(*verdict.number, rules);
      any = true;
    }
  }
  return any;
}

}  // namespace packmile
