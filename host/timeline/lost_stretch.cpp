#include "timeline/lost_stretch.hpp"

#include <algorithm>

#include "sector/sector.hpp"

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

std::uint64_t overwritten_of(std::uint32_t first, std::uint64_t sectors, std::uint32_t ring_sectors,
                             std::span<const std::uint32_t> boot_ends) {
  const std::uint64_t behind = first + sectors;
  const auto above = std::partition_point(boot_ends.begin(), boot_ends.end(), [&](std::uint32_t e) {
    return std::uint64_t{e} < behind + ring_sectors;
  });
  if (above == boot_ends.begin()) return 0;
  const std::uint64_t newest = *(above - 1);
  if (newest < std::uint64_t{first} + ring_sectors) return 0;
  const std::uint64_t overwritten = newest - ring_sectors - first + 1;
  return sectors - overwritten < kBootAlignSectors ? sectors : overwritten;
}

}  // namespace packmile
