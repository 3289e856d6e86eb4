// The command month: made-up months of a linen-hire firm's vans through the
// real core, with the truth beside them.
//
// Output  in DIR: NAME.log a van, fleet.toml, notes.csv, truth.json; NAME.lines where
//         they are wanted
// Method  rounds of micro-trips through a simple pack, AC charging at night,
//         perfect sensors unless mechanisms are named, ECUs asleep otherwise; one boot a month.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

#include "benchvan/faults.hpp"
#include "benchvan/mechanisms.hpp"

namespace packmile::benchvan {

// 2026-01-05T00:00:00Z, a Monday: fixed, never the machine's clock.
inline constexpr std::int64_t kMonthStartUnixMs = 1767571200000;

struct MonthOptions {
  std::string out;
  unsigned vans = 1;
  unsigned days = 30;
  std::uint64_t seed = 1;
  std::vector<std::string> fault_names;  // as given, for the run's identity
  Faults faults;
  std::vector<std::string> mechanism_names;  // as given
  Mechanisms mechanisms;
  std::int64_t start_unix_ms = kMonthStartUnixMs;  // midnight of day one, UTC
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
