// Reads a replay CSV into a track.
//
// Input   header time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c in any order,
//         time_s required, more columns by the names of moment.hpp; an empty
//         field is not answered.
// Sign    pack_a positive = discharge.
// Output  rows with strictly rising time; stamps that repeat or run back are
//         skipped and counted.
// Errors  BenchError with file:line:column.
#pragma once
#include <cstddef>
#include <string>
#include <string_view>

#include "benchvan/track.hpp"

namespace packmile::benchvan {

struct ReplayFile {
  Track track;
  std::size_t repeated_stamps = 0;
  std::size_t backward_stamps = 0;
};

// Throws BenchError.
[[nodiscard]] ReplayFile read_replay(const std::string& path);
// The same from text; `name` stands in for the path in messages.
[[nodiscard]] ReplayFile parse_replay(std::string_view text, const std::string& name);

}  // namespace packmile::benchvan
