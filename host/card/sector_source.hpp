// Where good sectors come from, in order: a card, or the archive.
#pragma once
#include <array>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "result.hpp"
#include "sector/sector.hpp"

namespace packmile {

using SectorBytes = std::array<std::uint8_t, kSectorBytes>;

// One good sector; the view is valid during the call only. False ends the walk.
using SectorVisit =
    std::function<bool(const SectorHeader&, std::span<const std::uint8_t, kSectorBytes>)>;

// Both ends are included. Settings sectors have sequence 0.
struct SequenceRange {
  std::uint32_t first = 0;
  std::uint32_t last = 0xFFFFFFFFu;
};

class SectorSource {
 public:
  virtual ~SectorSource() = default;

  // Ascending.
  [[nodiscard]] virtual std::vector<std::uint32_t> log_ids() const = 0;
  // Good sectors of one log in order of (sequence, boot id); settings sectors
  // first. Copies come once; sectors that have the same key and are not copies
  // all come, in an order that depends on their bytes alone. The CRC of every
  // one held when the source was opened.
  [[nodiscard]] virtual Result<Done> for_each_sector(std::uint32_t log_id, SequenceRange range,
                                                     const SectorVisit& visit) const = 0;
  [[nodiscard]] Result<Done> for_each_sector(std::uint32_t log_id, const SectorVisit& visit) const {
    return for_each_sector(log_id, SequenceRange{}, visit);
  }

 protected:
  SectorSource() = default;
  SectorSource(const SectorSource&) = default;
  SectorSource& operator=(const SectorSource&) = default;
  SectorSource(SectorSource&&) = default;
  SectorSource& operator=(SectorSource&&) = default;
};

}  // namespace packmile
