#include "benchvan/run_identity.hpp"

#include <span>

#include "sector/sector.hpp"

namespace packmile::benchvan {

std::uint32_t RunIdentity::number(std::string_view purpose) const {
  const std::string text = text_ + std::string(purpose);
  const std::uint32_t crc =
      crc32c(std::span(reinterpret_cast<const std::uint8_t*>(text.data()), text.size()));
  return crc == 0 ? 1 : crc;
}

}  // namespace packmile::benchvan
