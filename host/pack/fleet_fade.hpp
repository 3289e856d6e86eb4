// Age against use across vans of one pack type: whether the two can be told
// apart at all, and if so what each takes.
//
// Method    loss = own level of each van + a * age + b * distance, least squares;
//           widened by the persistence of each van's residuals.
// Refuses   fewer than 3 vans of 12 months each; age and distance that run
//           together (variance inflation of 10 or more); one van always.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "figure.hpp"
#include "pack/fade.hpp"

namespace packmile {

struct FleetFadeVan {
  std::string van;
  std::vector<FadePoint> points;
};

struct FleetFade {
  std::size_t n_vans = 0;    // with enough months
  std::size_t n_months = 0;  // of all of them
  // 1 / (1 - r^2) of age and distance within the vans; absent: no two vans.
  std::optional<double> variance_inflation;
  MaybeFigure lost_pct_per_year;
  MaybeFigure lost_pct_per_1000_km;
  std::string reason;  // what is identifiable and what is not
};

// vans: of one pack type. Loss is against each van's first three months.
[[nodiscard]] FleetFade split_fleet_fade(std::span<const FleetFadeVan> vans);

}  // namespace packmile
