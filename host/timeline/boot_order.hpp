// The boots of one log: told apart, given a clock, in order of their sequence.
//
// Input     all good sectors of one log.
// Clock     card/card_clocks.hpp; boots without one are bounded and placed by
//           what this log alone says (clock_repair.hpp).
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "card/sector_source.hpp"
#include "result.hpp"
#include "timeline/lost_stretch.hpp"
#include "timeline/van_history.hpp"

namespace packmile {

// A gap in the sequence of a log.
struct LogGap {
  std::size_t boot_behind = 0;  // index of the boot of the sector behind it
  LostStretch lost;
  // Whose samples lost.from and lost.to are.
  std::optional<std::size_t> boot_of_from, boot_of_to;
};

// More gaps than this on one log are counted with the last one.
inline constexpr std::size_t kMostGaps = 4096;

struct LogBoots {
  std::uint32_t log_id = 0;
  std::string settings_van;                  // may be empty
  std::uint64_t prepared_unix_ms = 0;        // of the newest settings; 0: not known
  std::uint64_t prepared_first_unix_ms = 0;  // of the oldest
  std::vector<PulledCard> pulled;
  std::vector<Boot> boots;              // in order of first_sequence
  std::vector<std::uint32_t> van_tags;  // one for each boot; 0: none
  std::vector<LogGap> gaps;             // in order of boot_behind
  bool malformed = false;               // some record does not follow the format
  bool conflict = false;                // some key has two contents
  bool no_clock = false;                // samples, and no clock in any boot
  // Every clock of the log lies before the card was prepared.
  bool clock_before_prepared = false;
};

[[nodiscard]] Result<LogBoots> read_log_boots(const SectorSource& source, std::uint32_t log_id,
                                              std::vector<PulledCard> pulled);

}  // namespace packmile
