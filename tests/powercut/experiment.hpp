// Runs numbered cases on all cores and prints the table.
#pragma once
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "powercut/recorded.hpp"

namespace packmile::powercut {

struct Settings {
  std::uint64_t seed = 20'261'125;
  // Every so many-th case is tried; 1: all.
  std::uint32_t share = 1;
  unsigned threads = 2;
};

struct Row {
  std::string experiment;
  bool exhaustive = false;
  Tally tally;
};

// Calls `run` with each case number that the share takes; a worker has its own
// reader. `cases` is the number of all cases.
using RunCase = std::function<void(std::uint64_t number, Reader& reader, Tally& tally)>;
[[nodiscard]] Tally run_cases(const Settings& settings, std::uint64_t cases, const RunCase& run);

// Prints the rows; false: something that must be 0 is not.
[[nodiscard]] bool print_table(const Settings& settings, const std::vector<Row>& rows);

// cuts.cpp: power cuts, writer and end search.
void cut_experiments(const Settings& settings, std::vector<Row>& rows);
// logger_cuts.cpp: power cuts, the whole logger with a van.
void logger_experiments(const Settings& settings, std::vector<Row>& rows);
// damage.cpp: a card that was hurt, copied, cut off or mixed up.
void damage_experiments(const Settings& settings, std::vector<Row>& rows);

}  // namespace packmile::powercut
