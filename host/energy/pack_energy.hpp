// The energy of one segment: integral, gaps and what they are filled with, and
// whether it may be shown at all.
#pragma once
#include <string>
#include <vector>

#include "energy/integrate.hpp"
#include "energy/segments.hpp"
#include "energy/van_account.hpp"

namespace packmile {

// What every segment of one episode is judged by.
struct SegmentInput {
  const Episode& episode;
  const PackRows& rows;
  const PackReading* reading = nullptr;  // nullptr: no pack words in the episode
  const VanFacts& facts;
  const EnergyRules& rules;
  bool odometer_whole_km = false;
};

// How the pack words of a segment behave.
struct WordHabits {
  bool held = false;         // repeats old values
  bool lags = false;         // the voltage follows the current by a row or more
  std::vector<Span> frozen;  // more than a minute of one and the same answer
};
[[nodiscard]] WordHabits look_at_words(const PackRows& rows, std::size_t from, std::size_t to);

// What the state of charge says about the current of a segment.
struct SocStory {
  // Ah per code differ by more than a third between two parts of the segment,
  // or between a part and the nominal capacity.
  bool against_current = false;
  // Why the energy is not to be told: more flowed one way while the answered code
  // stood still than a controller may be wrong by. Empty: it moved.
  std::string stuck_why;
};
[[nodiscard]] SocStory soc_story(const SegmentInput& input, const Segment& segment);

struct PackEnergy {
  // Integrated; meaningful when `shown`.
  PowerIntegral integral;
  std::vector<Gap> gaps;
  bool shown = false;
  std::string why;  // why not
  CurrentVerdict verdict = CurrentVerdict::too_little;
  // The van answers no pack words at all: energy may come from its SoC.
  bool silent = false;
  double coverage = 0;
  WordHabits habits;
  std::vector<Finding> findings;
};
[[nodiscard]] PackEnergy pack_energy_of(const SegmentInput& input, const Segment& segment);

// Estimate for the gaps, positive = discharge. km: distance of the segment,
// negative when it stood or is not known.
[[nodiscard]] MaybeFigure fill_gaps(const SegmentInput& input, const Segment& segment,
                                    const PackEnergy& energy, double km);

void add_finding(std::vector<Finding>& findings, Finding finding);
// What is doubtful about when the episode was.
void add_clock_findings(std::vector<Finding>& findings, const Episode& episode);

}  // namespace packmile
