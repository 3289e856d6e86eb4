// Walks a van's episodes and gathers what its capacity can be told from.
//
// Input     episodes in time order and the readings of the pack-current word, as
//           VanAccount takes them.
// Output    charges measured one by one, their voltage profiles, rests, steps of
//           current by month, what the van says of itself. Each is small: no trace
//           is kept.
// Segment   a new one where another ECU or calibration id answers, or the reading
//           of its current word changes its coding or sign.
#pragma once
#include <cstdint>
#include <map>
#include <memory>
#include <vector>

#include "energy/van_account.hpp"
#include "pack/capacity.hpp"
#include "pack/charge_capacity.hpp"
#include "pack/resistance.hpp"
#include "pack/rest.hpp"
#include "pack/voltage_window.hpp"
#include "reading/pack_reading.hpp"
#include "timeline/episode.hpp"

namespace packmile {

struct PackObservations {
  std::vector<ChargeCapacity> charges;   // in time order, refused ones too
  std::vector<VoltageProfile> profiles;  // in time order
  RestObservations rests;
  std::vector<MonthlyResistance> resistances;
  std::vector<ReAnchor> re_anchors;        // of charges, rests and drives, in time order
  std::vector<ReportedCapacity> reported;  // one a month and segment, in time order
  // Of segments whose reading tells one.
  std::map<std::uint32_t, SensorOffset> offsets;
  std::map<std::uint32_t, SensorGain> gains;
};

class PackWatch {
 public:
  PackWatch(VanFacts facts, std::vector<PackReading> readings, EnergyRules rules = {},
            CapacityRules capacity_rules = {});
  ~PackWatch();
  PackWatch(PackWatch&&) noexcept;
  PackWatch& operator=(PackWatch&&) noexcept;

  // In time order.
  void add(const Episode& episode);
  // The same, for one whose rows and segments are known already: what VanAccount
  // hands out. Its rules, facts and readings are those of the watch.
  void add(const PlannedEpisode& planned);
  // Everything so far; the watch starts anew.
  [[nodiscard]] PackObservations finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace packmile
