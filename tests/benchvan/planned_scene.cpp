#include "benchvan/planned_scene.hpp"

namespace packmile::benchvan {

PlannedScene::PlannedScene(ActSource& source, double cleared_at_km)
    : source_(source), cleared_at_km_(cleared_at_km) {
  load_next();
}

void PlannedScene::load_next() {
  cursor_.reset();
  act_ = source_.next();
  if (!act_) return;
  cursor_.emplace(act_->track);
  sleep_ns_ = act_->wake_ns + nanos_of_seconds(act_->track.duration_s());
}

void PlannedScene::go_to(Nanos now_ns) {
  asked_ns_ = now_ns;
  while (act_ && now_ns > sleep_ns_) load_next();
}

bool PlannedScene::awake(Nanos now_ns) {
  go_to(now_ns);
  return act_ && now_ns >= act_->wake_ns;
}

Nanos PlannedScene::next_change_ns() const {
  if (!act_) return kNever;
  return asked_ns_ < act_->wake_ns ? act_->wake_ns : sleep_ns_ + 1;
}

const Moment* PlannedScene::show(Nanos now_ns) {
  if (!awake(now_ns)) return nullptr;
  const double after_s = seconds_of(now_ns - act_->wake_ns);
  if (!cursor_->show(after_s, moment_)) return nullptr;
  add_derived_values(moment_, after_s, cleared_at_km_);
  return &moment_;
}

}  // namespace packmile::benchvan
