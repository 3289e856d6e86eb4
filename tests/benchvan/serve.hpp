// The command serve: the bench van behind a pseudo-terminal, in real time.
#pragma once
#include <cstdint>
#include <optional>
#include <string>

#include "benchvan/ecu.hpp"
#include "benchvan/faults.hpp"
#include "benchvan/pid_words.hpp"
#include "benchvan/serial_line.hpp"

namespace packmile::benchvan {

struct ServeOptions {
  std::string link;                    // symbolic link to the terminal's far end
  std::string replay;                  // a replay CSV, or empty:
  std::optional<std::uint64_t> round;  // seed of an endless delivery round
  std::string vin;
  double odometer_km = 40000;
  LineSetup line{};
  std::optional<double> ecu_ms{};  // from request to answer; absent: as the faults say
  PidCoding coding;
  Answers answers = Answers::service01;
  std::string card{};  // whose settings define what `owner` answers; empty: none
  Faults faults;
  std::string candump;  // empty: none
  std::string lines{};  // recording of the host's lines; empty: none
};

// Runs until SIGINT or SIGTERM; prints counts on stdout. Exit code. Throws
// BenchError.
[[nodiscard]] int run_serve(const ServeOptions& options);

}  // namespace packmile::benchvan
