// CRC-32C of a sector at the speed of the machine.
//
// Standard  the same CRC as proto/sector; the routine is ISA-L's, which picks
//           its instructions at run time.
// Checked   against the table routine of proto/sector in the unit tests.
#pragma once
#include <cstdint>
#include <span>

#include "sector/sector.hpp"

namespace packmile {

// CRC-32C of any bytes; equal to crc32c(), about twenty times faster.
[[nodiscard]] std::uint32_t fast_crc32c(std::span<const std::uint8_t> bytes);

// As read_sector() of proto/sector, with the fast CRC and a fast look for
// sectors that were never written.
[[nodiscard]] SectorVerdict judge_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                         SectorHeader& header);

// The CRC as it stands at the end of a sector, whether it holds or not.
[[nodiscard]] std::uint32_t stored_crc(std::span<const std::uint8_t, kSectorBytes> sector);

// The header of a sector whose CRC held before: the CRC is not computed again.
// False: not a sector of ours.
[[nodiscard]] bool read_known_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                     SectorHeader& header);

}  // namespace packmile
