// The days of a working van, with what a soak may change about its supply and its
// sleep while they pass.
#pragma once
#include <optional>

#include "benchvan/faults.hpp"
#include "benchvan/planned_scene.hpp"

namespace packmile::soak {

class SoakScene : public benchvan::Scene {
 public:
  using Nanos = benchvan::Nanos;

  // `plan` must outlive the scene.
  explicit SoakScene(benchvan::PlannedScene& plan) : plan_(plan) {}
  // Of these faults stays-awake and supply-low are the scene's.
  void switch_faults(const benchvan::Faults& faults) { faults_ = faults; }

  void on_tester_frame(Nanos now_ns) override { asked_ns_ = now_ns; }
  void on_poll_request(Nanos now_ns) override { plan_.on_poll_request(now_ns); }
  [[nodiscard]] const benchvan::Moment* show(Nanos now_ns) override;
  [[nodiscard]] bool awake(Nanos now_ns) override {
    return plan_.awake(now_ns) || kept_awake(now_ns);
  }
  [[nodiscard]] Nanos next_change_ns() const override { return plan_.next_change_ns(); }
  [[nodiscard]] std::uint16_t supply_mv(Nanos now_ns) override;

 private:
  [[nodiscard]] bool kept_awake(Nanos now_ns) const;

  benchvan::PlannedScene& plan_;
  benchvan::Faults faults_;
  std::optional<Nanos> asked_ns_;
  benchvan::Moment last_;     // what an awake van showed last
  benchvan::Moment at_rest_;  // the same at a standstill
};

}  // namespace packmile::soak
