// The good sectors of a card in the order of their sequence.
#include <algorithm>

#include "card/card_survey.hpp"
#include "card/crc.hpp"

namespace packmile {
namespace {

constexpr std::size_t kWindowSectors = 512;

}  // namespace

std::vector<std::uint32_t> CardSectors::log_ids() const {
  std::vector<std::uint32_t> ids = survey_.log_ids;
  std::sort(ids.begin(), ids.end());
  return ids;
}

Result<Done> CardSectors::for_each_sector(std::uint32_t log_id, SequenceRange range,
                                          const SectorVisit& visit) const {
  const auto log = std::find(survey_.log_ids.begin(), survey_.log_ids.end(), log_id);
  if (log == survey_.log_ids.end()) return Done{};
  const auto index = static_cast<std::uint32_t>(log - survey_.log_ids.begin());
  std::vector<std::uint8_t> window(std::min<std::uint64_t>(kWindowSectors, card_.sectors()) *
                                   kSectorBytes);
  std::uint64_t window_first = 0;
  std::uint64_t window_sectors = 0;
  const auto& places = survey_.places;
  auto place = std::partition_point(places.begin(), places.end(), [&](const SectorPlace& p) {
    const std::uint32_t log_index = p.log_and_kind >> 1;
    if (log_index != index) return log_index < index;
    return range.first != 0 && ((p.log_and_kind & 1) != 0 || p.sequence < range.first);
  });
  for (; place != places.end() && place->log_and_kind >> 1 == index; ++place) {
    if (place->sequence > range.last) {
      if ((place->log_and_kind & 1) != 0) continue;
      break;
    }
    if (place->address < window_first || place->address >= window_first + window_sectors) {
      window_first = place->address;
      window_sectors = card_.read(window_first, window) / kSectorBytes;
      if (window_sectors == 0)
        return Error{"sector " + std::to_string(place->address) + " can no longer be read",
                     card_.path().string(), "is the card still in the reader?"};
    }
    const std::size_t at = static_cast<std::size_t>(place->address - window_first) * kSectorBytes;
    const auto sector = std::span<const std::uint8_t>(window).subspan(at).first<kSectorBytes>();
    SectorHeader header;
    if (stored_crc(sector) != place->crc || !read_known_sector(sector, header))
      return Error{"sector " + std::to_string(place->address) + " has changed since it was read",
                   card_.path().string(), "stop the logger, then try again"};
    if (!visit(header, sector)) break;
  }
  return Done{};
}

}  // namespace packmile
