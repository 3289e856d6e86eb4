// Every question about a van's words, answered or not, in one list.
//
// Input     a van's episodes in time order, the readings of its pack current, what
//           people noted.
// Output    rows of `verdicts`: each question once or more; what nobody answers is
//           there as not_applicable, with what it would take.
#pragma once
#include <cstdint>
#include <vector>

#include "energy/meter_gain.hpp"
#include "energy/speed_scale.hpp"
#include "reading/pack_reading.hpp"
#include "reading/soc_step_votes.hpp"
#include "reading/verdict.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// Empty: nobody has noted any.
struct NotedEvidence {
  std::vector<NotedOdometer> odometer;
  std::vector<MeteredCharge> charges;
};

class VanVerdicts {
 public:
  void observe(const Episode& episode);
  // readings: as PackEvidence decides them. By question, then segment.
  [[nodiscard]] std::vector<Verdict> decide(const std::vector<PackReading>& readings,
                                            const NotedEvidence& noted) const;

 private:
  SocStepVotes soc_steps_;
  SpeedScale speed_;
  bool any_ = false;
  UtcTime first_{};
  UtcTime last_{};
};

}  // namespace packmile
