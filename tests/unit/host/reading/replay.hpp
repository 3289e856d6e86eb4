// Measured drives and charges as episodes, resampled as a logger would poll
// them. The files stay outside the repository; without them tests say so.
//
// Rules     between rows straight lines for speed, voltage and current, SoC and
//           ambient held, nothing over steps of more than 10 s; speed rounded
//           (or cut), SoC and odometer cut down, V to 1/64 V, I to 0.1 A.
#pragma once
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "reading/pack_reading.hpp"
#include "timeline/episode.hpp"

namespace packmile::testing {

struct ReplayOptions {
  double hz = 5;  // pack words and speed
  CurrentCoding coding = CurrentCoding::twos_complement;
  CurrentSign sign = CurrentSign::discharge_positive;
  bool speed_cut = false;
  bool speed_answered = true;
  bool soc_answered = true;
  std::optional<double> soc_constant_pct;
  double odometer_period_s = 5;  // 0: not answered
  double soc_period_s = 5;
  double odometer_start_km = 40'000;
  double phase_s = 0;  // of the first poll, after the file's first row
};

// 2026-01-05T06:00:00Z, where every replay begins.
inline constexpr std::int64_t kReplayStartMs = 1'767'592'800'000;

// Empty episode: no such file.
Episode replay(const std::string& file, const ReplayOptions& options = {});

// Rows of truth.csv by file, columns by name; empty cells are absent.
using TruthRow = std::map<std::string, double>;
std::map<std::string, TruthRow> read_truth();

std::string data_folder();
bool data_is_there();
// Names of the data files that begin so, sorted.
std::vector<std::string> files_named(const std::string& prefix);

// One pack word from what it means.
std::uint16_t current_word(double pack_a, CurrentCoding coding, CurrentSign sign);
void add_pack_row(Episode& episode, std::int64_t t_ms, double pack_v, double pack_a,
                  std::uint32_t period_ms, CurrentCoding coding = CurrentCoding::twos_complement,
                  CurrentSign sign = CurrentSign::discharge_positive);
void add_sample(SignalSeries& series, std::int64_t t_ms, std::uint32_t raw);
// Sets start and end from the samples.
void close_episode(Episode& episode);
// An agreed reading of two's complement, positive = discharge.
PackReading agreed_reading();

}  // namespace packmile::testing
