#include "soak/soak_scene.hpp"

namespace packmile::soak {
namespace {

using benchvan::Moment;
using benchvan::Nanos;
using benchvan::Quantity;

// As of the bench's own fault stays-awake. Common practice, no source.
constexpr Nanos kKeptAwakeNs = 120 * benchvan::kNanosPerSecond;
constexpr double kAtRestA = 0.2;
constexpr std::uint16_t kSupplyLowMv = 11900;
constexpr std::uint16_t kKeptAwakeMv = 12400;

}  // namespace

bool SoakScene::kept_awake(Nanos now_ns) const {
  return faults_.stays_awake && asked_ns_ && now_ns < *asked_ns_ + kKeptAwakeNs;
}

const Moment* SoakScene::show(Nanos now_ns) {
  if (const Moment* moment = plan_.show(now_ns)) {
    last_ = *moment;
    return moment;
  }
  if (!kept_awake(now_ns)) return nullptr;
  at_rest_ = last_;
  if (at_rest_.has(Quantity::speed_kmh)) at_rest_.set(Quantity::speed_kmh, 0);
  if (at_rest_.has(Quantity::pack_a)) at_rest_.set(Quantity::pack_a, kAtRestA);
  return &at_rest_;
}

std::uint16_t SoakScene::supply_mv(Nanos now_ns) {
  const bool used = plan_.awake(now_ns);
  if (faults_.supply_low) return kSupplyLowMv;
  if (used) return benchvan::kSupplyAwakeMv;
  return kept_awake(now_ns) ? kKeptAwakeMv : benchvan::kSupplyAsleepMv;
}

}  // namespace packmile::soak
