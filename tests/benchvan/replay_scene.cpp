#include "benchvan/replay_scene.hpp"

#include <cmath>

namespace packmile::benchvan {
namespace {

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

void ReplayScene::on_poll_request(Nanos now_ns) {
  go_to(now_ns);
  if (!finished() && phase_ == Phase::armed) start(now_ns);
}

bool ReplayScene::awake(Nanos now_ns) {
  go_to(now_ns);
  return !finished() && phase_ != Phase::between;
}

Nanos ReplayScene::next_change_ns() const {
  if (finished()) return kNever;
  switch (phase_) {
    case Phase::armed:
      return phase_since_ns_ + kArmedNs;
    case Phase::playing:
      return end_of_play_ns() + 1;
    case Phase::between:
      return phase_since_ns_ + setup_.gap_ns;
  }
  return kNever;
}

const Moment* ReplayScene::show(Nanos now_ns) {
  if (!awake(now_ns)) return nullptr;
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
