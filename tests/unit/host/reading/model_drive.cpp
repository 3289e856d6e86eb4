#include "host/reading/model_drive.hpp"

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

namespace packmile::testing {
namespace {

constexpr double kStepS = 0.02;

std::vector<double> speed_mps(std::mt19937& random, std::size_t n) {
  const auto uniform = [&](double a, double b) {
    return std::uniform_real_distribution<double>{a, b}(random);
  };
  std::vector<double> v;
  v.reserve(n);
  while (v.size() < n) {
    const double target = uniform(25, 70) / 3.6;
    const double up = uniform(0.7, 1.8);
    const double down = uniform(0.8, 2.5);
    for (double x = 0; x < target; x += up * kStepS) v.push_back(x);
    v.insert(v.end(), static_cast<std::size_t>(uniform(5, 40) / kStepS), target);
    for (double x = target; x > 0; x -= down * kStepS) v.push_back(x);
    v.insert(v.end(), static_cast<std::size_t>(uniform(3, 30) / kStepS), 0.0);
  }
  v.resize(n);
  // Limited jerk: a moving mean of 0.6 s.
  const std::size_t window = static_cast<std::size_t>(0.6 / kStepS);
  std::vector<double> smooth(n, 0.0);
  double sum = 0;
  for (std::size_t i = 0; i < n; ++i) {
    sum += v[i] - (i >= window ? v[i - window] : 0);
    smooth[i] = std::max(0.0, sum / static_cast<double>(window));
  }
  return smooth;
}

class Noise {  // Ornstein-Uhlenbeck
 public:
  Noise(double tau_s, double sd) : keep_(std::exp(-kStepS / tau_s)), sd_(sd) {}
  double next(std::mt19937& random) {
    x_ = keep_ * x_ + sd_ * std::sqrt(1 - keep_ * keep_) * gauss_(random);
    return x_;
  }

 private:
  double keep_, sd_, x_ = 0;
  std::normal_distribution<double> gauss_;
};

}  // namespace

Episode model_drive(const ModelDrive& drive) {
  std::mt19937 random{drive.seed};
  const auto n = static_cast<std::size_t>(drive.seconds / kStepS);
  const std::vector<double> v = speed_mps(random, n);
  std::vector<double> pack_v(n), pack_a(n), given_ah(n);
  Noise fast{0.5, 0.12}, slow{4, 0.08};
  double ah = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double pedal = fast.next(random) + slow.next(random);
    double a = i > 0 ? (v[i] - v[i - 1]) / kStepS : 0;
    if (v[i] > 1) a += pedal;
    const double road =
        2900 * a + 2900 * 9.81 * 0.011 * (v[i] > 0.3 ? 1 : 0) + 0.6 * 1.9 * v[i] * v[i];
    const double wheel_w = road * v[i];
    const double w = std::clamp(
        (wheel_w > 0 ? wheel_w / 0.87 : std::max(wheel_w * 0.68, -60e3)) + 900, -60e3, 90e3);
    pack_a[i] = (370 - std::sqrt(370.0 * 370 - 4 * 0.09 * w)) / (2 * 0.09);
    pack_v[i] = 370 - 0.09 * pack_a[i];
    ah += pack_a[i] * kStepS / 3600;
    given_ah[i] = ah;
  }
  Episode episode;
  std::normal_distribution<double> noise{0, drive.voltage_noise_v};
  const auto lag = static_cast<std::size_t>(drive.voltage_lag_s / kStepS);
  const double phase_s = std::uniform_real_distribution<double>{0, 1 / drive.hz}(random);
  const auto at = [&](double t) { return std::min(static_cast<std::size_t>(t / kStepS), n - 1); };
  for (double t = phase_s; t < drive.seconds; t += 1 / drive.hz) {
    const std::size_t i = at(t);
    const std::int64_t t_ms = kReplayStartMs + std::llround(t * 1e3);
    add_pack_row(episode, t_ms, pack_v[i >= lag ? i - lag : 0] + noise(random), pack_a[i],
                 static_cast<std::uint32_t>(std::lround(1000 / drive.hz)), drive.coding,
                 drive.sign);
    if (drive.speed) {
      add_sample(episode.speed, t_ms, static_cast<std::uint32_t>(std::lround(v[i] * 3.6)));
    }
  }
  if (drive.soc) {
    for (double t = 0; t < drive.seconds; t += 5) {
      const double pct = 80 - 100 * given_ah[at(t)] / drive.nominal_ah;
      add_sample(episode.soc, kReplayStartMs + std::llround(t * 1e3),
                 static_cast<std::uint32_t>(std::floor(pct * 2.55)));
    }
  }
  close_episode(episode);
  return episode;
}

}  // namespace packmile::testing
