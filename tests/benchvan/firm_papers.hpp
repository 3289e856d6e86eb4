// What the office of the invented firm keeps in its fleet.toml.
//
// Source  all of it is invented: prices, limits, places, promises.
#pragma once
#include <array>
#include <cstddef>
#include <string>
#include <string_view>

namespace packmile::benchvan {

inline constexpr std::size_t kFirmVans = 5;

struct FirmVan {
  std::string name;
  std::string vin;
  std::string expectation{};  // a line of its [[van]], or none
  double resale_factor = 1;   // of what it would fetch, today and in a year
};

struct FirmPurchase {
  std::string_view day;
  double sum;
  double odometer_km;
};

// Throws BenchError: no such van.
[[nodiscard]] const FirmPurchase& firm_purchase(std::string_view van);

[[nodiscard]] std::string firm_fleet_toml(const std::array<FirmVan, kFirmVans>& vans);

}  // namespace packmile::benchvan
