// When the van moved, when it stood, and when nothing was heard of it.
//
// Input     an episode's speed and odometer, raw.
// Output    silences and moves in time order.
// Rule      where speed is not answered for a minute the odometer tells: each
//           step of it is movement. A speed that stays 0 while the odometer
//           gains 0.2 km or more is taken as not answered.
#pragma once
#include <cstdint>
#include <vector>

#include "energy/van_account.hpp"
#include "timeline/episode.hpp"

namespace packmile {

struct Span {
  std::int64_t from_ms = 0;  // UTC
  std::int64_t to_ms = 0;    // UTC
  [[nodiscard]] std::int64_t length_ms() const { return to_ms - from_ms; }
  [[nodiscard]] bool overlaps(const Span& other) const {
    return from_ms < other.to_ms && other.from_ms < to_ms;
  }
};

// Movement without a standstill of kLeastRestMs or a silence inside.
struct Move {
  Span span;            // from the last standstill before to the first after
  bool drives = false;  // the rule of a drive was met in it
  bool brisk = false;   // moving_kmh was reached, if only for a moment
  double speed_km = 0;  // by speed
};

// The least standstill in which a charge could be proven (10 s after the stop
// and 60 s of current).
inline constexpr std::int64_t kLeastRestMs = 70'000;

// Stretches longer than silence_split_s in which no signal was answered,
// between the first and the last answer.
[[nodiscard]] std::vector<Span> find_silences(const Episode& episode, const EnergyRules& rules);

[[nodiscard]] std::vector<Move> find_moves(const Episode& episode,
                                           const std::vector<Span>& silences,
                                           const EnergyRules& rules);

// Speed was answered between these two times, and believed.
[[nodiscard]] bool speed_answered(const Episode& episode, const Span& span);

}  // namespace packmile
