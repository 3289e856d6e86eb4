// The command drive: replay files through the real core onto a card file, in
// virtual time.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "benchvan/ecu.hpp"
#include "benchvan/faults.hpp"
#include "benchvan/pid_words.hpp"
#include "benchvan/serial_line.hpp"

namespace packmile::benchvan {

struct DriveOptions {
  std::string card;
  std::vector<std::string> replays;
  double gap_minutes = 60;
  std::int64_t start_unix_ms = 0;  // UTC of row one of the first file
  double odometer_km = 40000;
  std::string vin;
  double poll_hz = 5;  // 0: as fast as the answers come
  LineSetup line{};
  std::optional<double> ecu_ms{};  // from request to answer; absent: as the faults say
  PidCoding coding{};
  Answers answers = Answers::service01;
  std::vector<std::string> fault_names{};  // as given, for the run's identity
  Faults faults{};
  std::string candump{};    // empty: none
  std::string lines{};      // recording of the host's lines; empty: none
  double parked_hours = 0;  // after the last file
};

// Exit code. Throws BenchError.
[[nodiscard]] int run_drive(const DriveOptions& options);

// Size of a card that the bench makes for drive, and the van's name on it.
inline constexpr std::uint64_t kDriveCardBytes = 64u << 20;
inline constexpr char kDriveVan[] = "bench";

}  // namespace packmile::benchvan
