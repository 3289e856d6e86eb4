// Every question about a van's words, answered or not, in one list.
//
// Input     a van's episodes in time order, the readings of its pack current, what
//           people noted.
// Output    rows of `verdicts`: each question once or more; what nobody answers is
//           there as not_applicable, with what it would take.
#pragma once
#include <cstdint>
#include <span>
#include <vector>

#include "energy/meter_gain.hpp"
#include "energy/speed_scale.hpp"
#include "energy/van_account.hpp"
#include "notes/van_notes.hpp"
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

// What the notes of a van say about its words: readings, and the charges that a
// meter or a receipt is told to be about. Of those only what was measured nearly
// whole counts.
[[nodiscard]] NotedEvidence noted_evidence_of(const VanNotes& notes,
                                              std::span<const ChargeSession> sessions);

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
