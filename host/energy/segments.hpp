// How one episode divides into trips, charge sessions and stands.
//
// Input     an episode and its pack rows.
// Output    segments in time order that do not overlap; together with the
//           silences that no session bridges they fill the episode.
// Rules     EnergyRules; a trip takes the adjoining awake standing time up to
//           stop_split_s on each side; a session begins and ends with its
//           charging current, found by walking outwards from where the rule
//           fired to where the energy put in is greatest.
#pragma once
#include <cstdint>
#include <vector>

#include "energy/integrate.hpp"
#include "energy/motion.hpp"
#include "energy/van_account.hpp"
#include "timeline/episode.hpp"

namespace packmile {

enum class SegmentKind : std::uint8_t { trip, session, stand };

struct Segment {
  SegmentKind kind = SegmentKind::stand;
  Span span;
  Span moving;          // trips: first to last movement
  bool by_soc = false;  // sessions: seen in the state of charge alone
  bool has_rows = false;
  std::size_t row_from = 0;  // pack rows, both included
  std::size_t row_to = 0;
};

struct EpisodePlan {
  std::vector<Segment> segments;
  std::vector<Span> silences;  // between segments: nothing answered
};

[[nodiscard]] EpisodePlan plan_segments(const Episode& episode, const PackRows& rows,
                                        const EnergyRules& rules);

}  // namespace packmile
