#include "timeline/lost_stretch.hpp"

#include <algorithm>

namespace packmile {

std::string_view word_of(LostWhy why) {
  switch (why) {
    case LostWhy::overwritten:
      return "overwritten";
    case LostWhy::damaged_or_missing:
      return "damaged_or_missing";
  }
  return {};
}

std::uint64_t overwritten_of(const NumberGap& gap, std::uint32_t ring_sectors,
                             std::span<const std::uint32_t> boot_ends) {
  const auto above = std::partition_point(boot_ends.begin(), boot_ends.end(), [&](std::uint32_t e) {
    return std::uint64_t{e} < gap.alive_from + ring_sectors;
  });
  if (above == boot_ends.begin()) return 0;
  const std::uint64_t newest = *(above - 1);
  if (newest < std::uint64_t{gap.first} + ring_sectors) return 0;
  const std::uint64_t overwritten = std::min(gap.sectors, newest - ring_sectors - gap.first + 1);
  return gap.sectors - overwritten < kBootAlignSectors ? gap.sectors : overwritten;
}

}  // namespace packmile
