// A controller that takes up another capacity counts the charges after that by
// another scale.
//
// Input     charges with the sensor's offset taken off.
// Output    where the scale moved and by how much.
// Method    neighbouring charges, two to five on either side within a month, whose Ah
//           per share are further apart than a fortieth and than their own scatter and
//           what is left of the offset explain.
// Refuses   nothing: fewer charges show no move.
// Caution   which of the two scales is right is not told.
#pragma once
#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <vector>

#include "pack/charge_capacity.hpp"

namespace packmile {

struct ScaleMove {
  std::uint32_t segment = 0;
  UtcTime before, after;  // starts of the charges between which it moved
  double share = 0;       // Ah per share: so much more afterwards, relative

  // 1 sd, relative, of a scale beside it that is known to known_u but for the move: one
  // of the two may be right, as well the one as the other.
  [[nodiscard]] double scale_u(double known_u) const;
};

// Every place between two charges that shows it, in no order: one move may show in
// several, most in the right one. offsets: of the segments that have one; untold_u_a: 1 sd
// of any other.
[[nodiscard]] std::vector<ScaleMove> find_scale_moves(
    std::span<const ChargeCapacity> charges, const std::map<std::uint32_t, SensorOffset>& offsets,
    double untold_u_a);

// The largest within a quarter of `date`, before it or after; nullptr: none.
[[nodiscard]] const ScaleMove* largest_move(std::span<const ScaleMove> moves, std::uint32_t segment,
                                            UtcTime date);

// One clause for people.
[[nodiscard]] std::string text_of(const ScaleMove& move);

}  // namespace packmile
