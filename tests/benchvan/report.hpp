// What the bench says on stderr when it is done.
#pragma once
#include <string>

#include "benchvan/bench.hpp"
#include "benchvan/replay.hpp"

namespace packmile::benchvan {

// Stamps that were skipped, if any.
void report_replay(const std::string& path, const ReplayFile& file);
// Forbidden requests and other trouble. The exit code: 1 if the tester sent
// anything that a reader must not send.
[[nodiscard]] int report_bench(const BenchCounts& counts);

}  // namespace packmile::benchvan
