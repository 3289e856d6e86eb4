// Everything about one van's pack in one step: capacity by method, the witness,
// fade, and what is said of the owner's expectation.
//
// Input     what pack_watch.hpp gathered and what the owner knows.
// Output    rows of `capacity` and `fade`, and the findings behind them.
// Rule      a capacity by the controller's own scale gets a verdict only where
//           something independent confirms that scale.
#pragma once
#include <optional>
#include <span>
#include <vector>

#include "pack/capacity.hpp"
#include "pack/fade.hpp"
#include "pack/pack_watch.hpp"
#include "pack/witness.hpp"

namespace packmile {

struct PackFacts {
  std::optional<double> usable_ah;    // of the new pack, the owner's figure
  std::optional<double> nominal_ah;   // for equivalent full cycles
  std::optional<UtcTime> first_used;  // of the van: its age counts from here
  std::vector<LossLine> expectations;
  // Discharged Ah up to the middle of a month: month (trend.hpp), Ah.
  std::vector<std::pair<int, double>> discharged_ah;
  // They count from the first record: what flowed before is not known.
  bool discharged_since_logged = false;
};

struct PackAssessment {
  CapacityFindings capacity;
  // What the fade was told from, and may be told from anew for some of the months.
  std::vector<FadePoint> fade_points;
  bool age_since_logged = false;
  bool cycles_since_logged = false;
  std::vector<FadeRow> fade;
  Witness witness;
  RestDriftOrWhy rest_drift;
  std::optional<ResistanceTrend> resistance;
};

[[nodiscard]] PackAssessment assess_pack(const PackObservations& observations,
                                         const PackFacts& facts, const CapacityRules& rules = {});

}  // namespace packmile
