// What a log says was recorded and is not there: gaps in its sequence.
//
// Input     all good sectors of one log that were ever read.
// Output    each gap with the time around it, and whether the ring overwrote it
//           before it was read or it was damaged.
// Rule      decided from the sectors alone, so that the order of imports does
//           not matter. The ring had overwritten the numbers up to E - N when E
//           was the newest one, and a card is pulled behind the last sector of a
//           boot: a gap is overwritten up to the largest such E - N that leaves
//           the sectors behind the gap alive. A rest of less than one run of 32
//           is what the last power cut did to the newest sectors of then.
// Remnants  where a boot skipped to the next multiple of 32, up to 31 sectors of
//           the lap before stay on the card. Gaps that only such a remnant parts
//           are one stretch.
// Bounds    `sectors` counts numbers: each boot inside the gap may have skipped
//           up to 31 that were never written. What was lost behind the newest
//           sector cannot be known.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "figure.hpp"
#include "sector/sector.hpp"

namespace packmile {

enum class LostWhy : std::uint8_t { overwritten, damaged_or_missing };
// As in rows.
[[nodiscard]] std::string_view word_of(LostWhy why);

struct LostStretch {
  std::uint32_t log_id = 0;
  std::optional<UtcTime> from;  // last sample before; absent: nothing before it was read
  std::optional<UtcTime> to;    // first sample behind; absent: no samples behind it
  std::uint64_t sectors = 0;
  LostWhy why = LostWhy::damaged_or_missing;

  bool operator==(const LostStretch&) const = default;
};

// A gap in the numbers of one log, and the number from which on the sectors
// behind it are there, remnants not counted.
struct NumberGap {
  std::uint32_t first = 0;
  std::uint64_t sectors = 0;
  std::uint64_t alive_from = 0;

  [[nodiscard]] constexpr std::uint64_t behind() const { return first + sectors; }
};

// Is all that lies between two gaps a remnant of the lap before, or skipped?
[[nodiscard]] constexpr bool parted_by_remnant(const NumberGap& gap, std::uint32_t next_first) {
  return next_first - gap.behind() < 2 * kBootAlignSectors;
}

// How many of the gap's numbers, from the first on, the ring had overwritten
// before they were read. boot_ends: the last sequence of each boot, ascending.
[[nodiscard]] std::uint64_t overwritten_of(const NumberGap& gap, std::uint32_t ring_sectors,
                                           std::span<const std::uint32_t> boot_ends);

}  // namespace packmile
