// What the office of the invented firm keeps in its fleet.toml.
//
// Source  all of it is invented: prices, limits, places, promises.
#pragma once
#include <array>
#include <string>

namespace packmile::benchvan {

struct FirmVan {
  std::string name;
  std::string vin;
};

[[nodiscard]] std::string firm_fleet_toml(const std::array<FirmVan, 5>& vans);

}  // namespace packmile::benchvan
