// The bench's replay CSV: refused with a place, or rows in rising time.
#include <cmath>
#include <string>

#include "benchvan/bench_error.hpp"
#include "benchvan/replay.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"

namespace packmile::fuzz {

void try_replay(Input input) {
  using namespace packmile::benchvan;
  const std::string_view text(reinterpret_cast<const char*>(input.data()), input.size());
  ReplayFile replay;
  try {
    replay = parse_replay(text, "replay.csv");
  } catch (const BenchError& error) {
    must(std::string_view(error.what()).starts_with("replay.csv:"), "an error names the file");
    return;
  }
  Track& track = replay.track;
  must(!track.time_s.empty(), "a track has rows");
  for (std::size_t i = 0; i < track.time_s.size(); ++i) {
    must(std::isfinite(track.time_s[i]), "times are numbers");
    if (i != 0) must(track.time_s[i] > track.time_s[i - 1], "times rise");
  }
  for (const std::vector<double>& column : track.columns) {
    must(column.empty() || column.size() == track.time_s.size(), "columns have a value a row");
    for (const double value : column) must(!std::isinf(value), "values are numbers or absent");
  }
  must(track.driven_km.empty() || track.driven_km.size() == track.time_s.size(),
       "a distance for each row");
  // The cursor plays whatever was read.
  TrackCursor cursor(track);
  Moment moment;
  for (const double at : track.time_s) {
    (void)cursor.show(at - track.time_s.front(), moment);
    (void)cursor.driven_km();
  }
}

}  // namespace packmile::fuzz
