// A van that lives through a plan of acts, each a track that begins at a fixed
// time; asleep between them.
#pragma once
#include <memory>
#include <optional>

#include "benchvan/scene.hpp"
#include "benchvan/track.hpp"

namespace packmile::benchvan {

struct Act {
  Nanos wake_ns = 0;
  Track track{};
};

// Makes acts one after the other, in time order, that do not overlap.
class ActSource {
 public:
  ActSource() = default;
  ActSource(const ActSource&) = delete;
  ActSource& operator=(const ActSource&) = delete;
  virtual ~ActSource() = default;
  // Absent: the plan is at its end.
  [[nodiscard]] virtual std::optional<Act> next() = 0;
};

class PlannedScene : public Scene {
 public:
  // `source` must outlive the scene. `cleared_at_km`: odometer at which the
  // trouble codes were cleared.
  PlannedScene(ActSource& source, double cleared_at_km);

  void on_poll_request(Nanos) override {}
  [[nodiscard]] const Moment* show(Nanos now_ns) override;
  [[nodiscard]] bool awake(Nanos now_ns) override;
  [[nodiscard]] Nanos next_change_ns() const override;
  // The last act is over.
  [[nodiscard]] bool finished() const { return !act_.has_value(); }

 private:
  void load_next();
  void go_to(Nanos now_ns);

  ActSource& source_;
  double cleared_at_km_;
  std::optional<Act> act_;  // the present or the coming one
  std::optional<TrackCursor> cursor_;
  Nanos sleep_ns_ = 0;  // end of act_
  Nanos asked_ns_ = 0;
  Moment moment_;
};

}  // namespace packmile::benchvan
