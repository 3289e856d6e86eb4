#include "benchvan/report.hpp"

#include <fmt/format.h>

namespace packmile::benchvan {

void report_replay(const std::string& path, const ReplayFile& file) {
  if (file.repeated_stamps == 0 && file.backward_stamps == 0) return;
  fmt::print(stderr, "{}: {} repeated and {} backward stamps skipped\n", path, file.repeated_stamps,
             file.backward_stamps);
}

int report_bench(const BenchCounts& counts) {
  if (counts.lost_lines > 0) {
    fmt::print(stderr, "packmile-benchvan: {} lines to the host were lost, its line is too slow\n",
               counts.lost_lines);
  }
  if (counts.aborted_replies > 0) {
    fmt::print(stderr, "packmile-benchvan: {} multi-frame answers were not fetched\n",
               counts.aborted_replies);
  }
  if (counts.while_foreign_tester > 0) {
    fmt::print(stderr,
               "packmile-benchvan: {} lines other than closing and listening within 10 min of "
               "another tester\n",
               counts.while_foreign_tester);
    return 1;
  }
  if (counts.forbidden == 0) return 0;
  fmt::print(stderr,
             "packmile-benchvan: {} of {} frames were forbidden; the first: {}\n"
             "  a reader sends services 01, 09 and 22 and flow control, nothing else\n",
             counts.forbidden, counts.tester_frames, counts.first_forbidden);
  return 1;
}

}  // namespace packmile::benchvan
