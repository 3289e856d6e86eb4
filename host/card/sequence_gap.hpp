// How many sectors are lost between two good ones that follow each other in the
// order of the sequence.
//
// Standard  FORMAT.md: each boot starts at the next multiple of 32.
#pragma once
#include <cstdint>

#include "sector/sector.hpp"

namespace packmile {

// Sectors between a sector and one with a larger sequence. Where the boot
// changes, the numbers up to the next multiple of 32 were skipped, not lost:
// that part of the gap is not counted, although the end of the older boot may
// have been in it.
[[nodiscard]] constexpr std::uint64_t missing_between(std::uint32_t sequence, bool same_boot,
                                                      std::uint32_t next_sequence) {
  if (next_sequence <= sequence) return 0;
  const std::uint64_t expected = std::uint64_t{sequence} + 1;
  if (same_boot) return next_sequence - expected;
  const std::uint64_t boot_start =
      (expected + kBootAlignSectors - 1) / kBootAlignSectors * kBootAlignSectors;
  // No boundary between them: a writer that does not keep to the format, and
  // every number in between was written.
  return boot_start <= next_sequence ? next_sequence - boot_start : next_sequence - expected;
}

}  // namespace packmile
