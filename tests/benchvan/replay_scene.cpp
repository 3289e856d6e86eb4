#include "benchvan/replay_scene.hpp"

#include <algorithm>
#include <cmath>

namespace packmile::benchvan {
namespace {

// How long a network stays awake after it was asked, and what the pack then
// gives to the converter. Common practice, no source.
constexpr Nanos kKeptAwakeNs = 120 * kNanosPerSecond;
constexpr double kParkedPackA = 0.2;
// 30 A at 14.2 V and the awake van's 4 A, out of 350 V.
constexpr double kTopUpPackA = 1.4;
constexpr std::uint16_t kSupplyLowMv = 11900;

std::optional<double> first_soc_pct(const std::vector<Track>& tracks) {
  for (const Track& track : tracks) {
    for (const double value : track.column(Quantity::soc_pct)) {
      if (!std::isnan(value)) return value;
    }
  }
  return std::nullopt;
}

}  // namespace

ReplayScene::ReplayScene(std::vector<Track> tracks, const Setup& setup)
    : tracks_(std::move(tracks)),
      setup_(setup),
      cursor_(tracks_.front()),
      odometer_base_km_(setup.odometer_km),
      run_start_km_(setup.odometer_km) {
  if (setup_.soc_frozen) frozen_soc_pct_ = first_soc_pct(tracks_);
}

Nanos ReplayScene::end_of_play_ns() const {
  return phase_since_ns_ + nanos_of_seconds(tracks_[file_].duration_s());
}

void ReplayScene::start(Nanos now_ns) {
  phase_ = Phase::playing;
  phase_since_ns_ = now_ns;
  if (!first_row_ns_) first_row_ns_ = now_ns;
}

void ReplayScene::go_to(Nanos now_ns) {
  while (!finished()) {
    switch (phase_) {
      case Phase::armed:
        if (now_ns < phase_since_ns_ + kArmedNs) return;
        start(phase_since_ns_ + kArmedNs);
        break;
      case Phase::playing:
        if (now_ns <= end_of_play_ns()) return;
        phase_since_ns_ = end_of_play_ns();
        phase_ = Phase::between;
        odometer_base_km_ += tracks_[file_].distance_km();
        // Whoever drove has just left: the network has not slept yet.
        battery_.fill();
        parked_ = moment_;
        stood_until_ns_ = phase_since_ns_;
        kept_awake_until_ns_ = phase_since_ns_ + kKeptAwakeNs;
        top_up_until_ns_ = 0;
        if (setup_.top_ups) next_top_up_ns_ = phase_since_ns_ + kTopUpEveryNs;
        ++file_;
        break;
      case Phase::between:
        if (now_ns < phase_since_ns_ + setup_.gap_ns) return;
        phase_since_ns_ += setup_.gap_ns;
        phase_ = Phase::armed;
        cursor_ = TrackCursor(tracks_[file_]);
        break;
    }
  }
}

bool ReplayScene::kept_awake(Nanos now_ns) const {
  return setup_.stays_awake && now_ns < kept_awake_until_ns_;
}

// Charges the battery's account for the time since it was asked last.
void ReplayScene::stand_until(Nanos now_ns) {
  for (;;) {
    if (next_top_up_ns_ <= stood_until_ns_) {
      top_up_until_ns_ = next_top_up_ns_ + battery_.top_up_ns();
      next_top_up_ns_ += kTopUpEveryNs;
      battery_.begin_top_up();
    }
    if (stood_until_ns_ >= now_ns) return;
    if (topped_up(stood_until_ns_)) {
      const Nanos until = std::min(now_ns, top_up_until_ns_);
      battery_.top_up(until - stood_until_ns_);
      stood_until_ns_ = until;
      continue;
    }
    const Nanos until = std::min(now_ns, next_top_up_ns_);
    const Nanos awake_until = std::clamp(kept_awake_until_ns_, stood_until_ns_, until);
    battery_.stand(awake_until - stood_until_ns_, true);
    battery_.stand(until - awake_until, false);
    stood_until_ns_ = until;
  }
}

void ReplayScene::on_tester_frame(Nanos now_ns) {
  if (!setup_.stays_awake) return;
  go_to(now_ns);
  if (!stands()) return;
  stand_until(now_ns);
  kept_awake_until_ns_ = now_ns + kKeptAwakeNs;
}

std::uint16_t ReplayScene::supply_mv(Nanos now_ns) {
  go_to(now_ns);
  if (setup_.supply_low) return kSupplyLowMv;
  if (!setup_.stays_awake && !setup_.top_ups) return Scene::supply_mv(now_ns);
  if (!stands()) return kSupplyAwakeMv;
  stand_until(now_ns);
  if (topped_up(now_ns)) return kSupplyAwakeMv;
  return battery_.millivolts(kept_awake(now_ns));
}

void ReplayScene::on_poll_request(Nanos now_ns) {
  go_to(now_ns);
  if (!finished() && phase_ == Phase::armed) start(now_ns);
}

bool ReplayScene::awake(Nanos now_ns) {
  go_to(now_ns);
  if (!stands()) return true;
  if (setup_.top_ups) stand_until(now_ns);
  return topped_up(now_ns) || kept_awake(now_ns);
}

Nanos ReplayScene::next_change_ns() const {
  const Nanos top_up_ns = top_up_until_ns_ > stood_until_ns_ ? top_up_until_ns_ : next_top_up_ns_;
  if (finished()) return top_up_ns;
  switch (phase_) {
    case Phase::armed:
      return phase_since_ns_ + kArmedNs;
    case Phase::playing:
      return end_of_play_ns() + 1;
    case Phase::between:
      return std::min(phase_since_ns_ + setup_.gap_ns, top_up_ns);
  }
  return kNever;
}

const Moment* ReplayScene::show(Nanos now_ns) {
  if (!awake(now_ns)) return nullptr;
  if (stands()) {
    if (parked_.has(Quantity::speed_kmh)) parked_.set(Quantity::speed_kmh, 0);
    if (parked_.has(Quantity::pack_a))
      parked_.set(Quantity::pack_a, topped_up(now_ns) ? kTopUpPackA : kParkedPackA);
    return &parked_;
  }
  const double after_s = phase_ == Phase::armed ? 0.0 : seconds_of(now_ns - phase_since_ns_);
  if (!cursor_.show(after_s, moment_)) return nullptr;
  if (const std::optional<double> driven_km = cursor_.driven_km();
      driven_km && !moment_.has(Quantity::odometer_km)) {
    moment_.set(Quantity::odometer_km, odometer_base_km_ + *driven_km);
  }
  add_derived_values(moment_, after_s, run_start_km_);
  if (frozen_soc_pct_ && moment_.has(Quantity::soc_pct)) {
    moment_.set(Quantity::soc_pct, *frozen_soc_pct_);
  }
  return &moment_;
}

}  // namespace packmile::benchvan
