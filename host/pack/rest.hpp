// What a van shows when it wakes from a long rest: a pair of voltage and state
// of charge that no load disturbs.
//
// Input     a van's episodes in time order, with their pack rows.
// Output    rest points; charge between two of them against the difference of
//           their states of charge; whether the voltage at the same state of charge
//           has moved over the months; changes of mind asleep and awake.
// Rule      a rest is two hours or more without an answer, followed by a reading
//           below 2 A within a minute.
// Refuses   less than 30 points between two rests, less than 98 % of the awake
//           time seen, a state of charge that moved while asleep.
// Caution   cells with a flat voltage (iron phosphate) say nothing between about
//           20 and 90 %.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "figure.hpp"
#include "pack/charge_capacity.hpp"

namespace packmile {

struct RestPoint {
  UtcTime at;
  std::uint32_t segment = 0;
  double soc_pct = 0;
  double soc_step_pct = kSocPctPerCode;  // of the answers
  double pack_v = 0;
  double v_step_v = kVoltPerCode;
  double rested_h = 0;
  std::optional<double> ambient_c;
};

// From one rest to a later one.
struct RestToRest {
  UtcTime start, end;
  std::uint32_t segment = 0;
  std::optional<double> ambient_c;  // at the second
  double soc_low_pct = 0;
  double soc_high_pct = 0;
  double soc_step_pct = kSocPctPerCode;  // of the answers
  double awake_h = 0;
  Figure ah;              // of 100 points; the sensor's offset is still in it
  PointWithErrors point;  // share, Ah: both positive
};

struct RestObservations {
  std::vector<RestPoint> points;
  std::vector<RestToRest> pairs;  // they do not overlap
  // Stretches between neighbouring rests of 30 points or more that were refused.
  std::size_t n_refused = 0;
  // Rests of two hours or more over which the state of charge shown rose by a step or
  // two: the controller puts its count right by the cells. Only where no charge can have
  // done it: the logger listened all the time, nothing flowed into the pack at either
  // end, the van had not just been charged and is not near full (one that stands plugged
  // in is topped up). A fall proves nothing: what a parked van draws is counted, too.
  std::size_t n_risen_at_rest = 0;
  std::vector<ReAnchor> re_anchors;
};

// Neighbours share a rest: what the controller makes of it is in both, twice where
// one comes down to it and the other goes up from it, and cancels where both go the
// same way. What the width of their mean is to be multiplied by. In time order.
[[nodiscard]] double shared_rests_widening(std::span<const RestToRest* const> pairs);

class RestWatch {
 public:
  // nominal_ah: absent: changes of mind while awake are not looked for.
  explicit RestWatch(std::optional<double> nominal_ah, CapacityRules rules = {});
  ~RestWatch();
  RestWatch(RestWatch&&) noexcept;
  RestWatch& operator=(RestWatch&&) noexcept;

  // In time order. rows: of the episode, empty where the reading is not agreed;
  // removed_a: of removed_offset_a().
  void add(const Episode& episode, const PackRows& rows, std::uint32_t segment,
           double removed_a = 0);
  // Everything so far; the watch starts anew.
  [[nodiscard]] RestObservations finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// The voltage at rest at the same state of charge (+-1 code) and temperature
// stratum: the last three months against the first.
struct RestDrift {
  Figure change_pct;  // of the pack voltage
  std::size_t n_early = 0;
  std::size_t n_late = 0;
  // What that is in points of charge, by the van's own rests; absent where they
  // lie within 10 points of each other.
  std::optional<Figure> points;
};
struct RestDriftOrWhy {
  std::optional<RestDrift> drift;
  std::string why;
};
// points: of one segment, in time order.
[[nodiscard]] RestDriftOrWhy tell_rest_drift(std::span<const RestPoint> points);

}  // namespace packmile
