// What the odometer showed at the two ends of a boot.
//
// Input     the boot's sectors; the ECU that answers its odometer most often.
// Bounded   a few sectors at each end where they hold a reading, else all.
#pragma once
#include <cstdint>
#include <optional>

#include "card/sector_source.hpp"
#include "result.hpp"
#include "timeline/van_history.hpp"

namespace packmile {

// Codes of 0.1 km, cut down by the van.
struct OdometerSpan {
  std::uint32_t first = 0;
  std::uint32_t last = 0;

  [[nodiscard]] double first_km() const { return first * 0.1; }
  [[nodiscard]] double last_km() const { return last * 0.1; }
  bool operator==(const OdometerSpan&) const = default;
};

// Absent: not answered in this boot. An owner's odometer is not looked at.
[[nodiscard]] Result<std::optional<OdometerSpan>> odometer_of(const SectorSource& source,
                                                              const Boot& boot);

}  // namespace packmile
