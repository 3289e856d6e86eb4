// What the office of the invented firm keeps in its fleet.toml.
//
// Source  all of it is invented: prices, limits, places, promises.
#pragma once
#include <array>
#include <string>
#include <string_view>

namespace packmile::benchvan {

inline constexpr std::string_view kFirmPublicPlace = "Mill Lane";
inline constexpr double kFirmPublicPrice = 0.64;  // for each kWh at the post

struct FirmVan {
  std::string name;
  std::string vin;
};

[[nodiscard]] std::string firm_fleet_toml(const std::array<FirmVan, 5>& vans);

}  // namespace packmile::benchvan
