// The command month: made-up months of a linen-hire firm's vans through the
// real core, with the truth beside them.
//
// Output  in DIR: NAME.log a van, fleet.toml, notes.csv, truth.json; NAME.lines where
//         they are wanted
// Method  rounds of micro-trips through a simple pack, AC charging at night,
//         perfect sensors, ECUs asleep otherwise; one boot a month.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

#include "benchvan/faults.hpp"

namespace packmile::benchvan {

struct MonthOptions {
  std::string out;
  unsigned vans = 1;
  unsigned days = 30;
  std::uint64_t seed = 1;
  std::vector<std::string> fault_names;  // as given, for the run's identity
  Faults faults;
  // The ECUs' words straight into sectors: no line, no adapter, no ISO-TP.
  bool direct = false;
  bool lines = false;  // also NAME.lines a van: every line of its logger
};

inline constexpr unsigned kMaxMonthVans = 100;
inline constexpr unsigned kMaxMonthDays = 3660;
inline constexpr std::uint64_t kMonthCardBytes = 256u << 20;

// Exit code. Throws BenchError; refuses to overwrite any of its files.
[[nodiscard]] int run_month(const MonthOptions& options);

}  // namespace packmile::benchvan
