// An endless delivery round for serve: rounds without a break, and a charge
// whenever the pack is nearly empty.
#pragma once
#include <cstdint>
#include <optional>

#include "benchvan/generator.hpp"
#include "benchvan/pack_model.hpp"
#include "benchvan/planned_scene.hpp"

namespace packmile::benchvan {

class RoundPlan : public ActSource {
 public:
  RoundPlan(std::uint64_t seed, double odometer_km);
  [[nodiscard]] std::optional<Act> next() override;

 private:
  Generator generator_;
  PackModel pack_;
  double odometer_km_;
  double ambient_c_;
  Nanos free_from_ns_ = 0;
};

}  // namespace packmile::benchvan
