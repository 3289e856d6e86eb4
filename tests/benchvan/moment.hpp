// What the van's sensors show at one moment, in physical units.
//
// Sign  pack_a is positive while the pack discharges.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

namespace packmile::benchvan {

// Everything that the bench can play; the names are also the column names of a
// replay CSV.
enum class Quantity : std::uint8_t {
  speed_kmh,
  pack_v,
  pack_a,
  soc_pct,
  ambient_c,
  odometer_km,
  module_v,
  coolant_c,
  run_time_s,
  distance_since_clear_km,
  time_since_clear_min,
  warm_ups,
  barometric_kpa,
  demanded_torque_pct,
  actual_torque_pct,
  reference_torque_nm,
  pack_temp_c,
};

inline constexpr std::array<std::string_view, 17> kQuantityNames{"speed_kmh",
                                                                 "pack_v",
                                                                 "pack_a",
                                                                 "soc_pct",
                                                                 "ambient_c",
                                                                 "odometer_km",
                                                                 "module_v",
                                                                 "coolant_c",
                                                                 "run_time_s",
                                                                 "distance_since_clear_km",
                                                                 "time_since_clear_min",
                                                                 "warm_ups",
                                                                 "barometric_kpa",
                                                                 "demanded_torque_pct",
                                                                 "actual_torque_pct",
                                                                 "reference_torque_nm",
                                                                 "pack_temp_c"};
inline constexpr std::size_t kQuantities = kQuantityNames.size();

[[nodiscard]] constexpr std::size_t index_of(Quantity quantity) {
  return static_cast<std::size_t>(quantity);
}

[[nodiscard]] constexpr std::optional<Quantity> quantity_named(std::string_view name) {
  for (std::size_t i = 0; i < kQuantities; ++i) {
    if (kQuantityNames[i] == name) return static_cast<Quantity>(i);
  }
  return std::nullopt;
}

// A set of quantities, one bit each.
class QuantitySet {
 public:
  void add(Quantity quantity) { bits_ |= 1u << index_of(quantity); }
  void remove(Quantity quantity) { bits_ &= ~(1u << index_of(quantity)); }
  void clear() { bits_ = 0; }
  void merge(const QuantitySet& other) { bits_ |= other.bits_; }
  [[nodiscard]] bool has(Quantity quantity) const {
    return ((bits_ >> index_of(quantity)) & 1u) != 0;
  }

 private:
  std::uint32_t bits_ = 0;
};

class Moment {
 public:
  void set(Quantity quantity, double value) {
    values_[index_of(quantity)] = value;
    present_.add(quantity);
  }
  void remove(Quantity quantity) { present_.remove(quantity); }
  void clear() { present_.clear(); }
  [[nodiscard]] bool has(Quantity quantity) const { return present_.has(quantity); }
  // Absent: not answered at this moment.
  [[nodiscard]] std::optional<double> get(Quantity quantity) const {
    if (!present_.has(quantity)) return std::nullopt;
    return values_[index_of(quantity)];
  }

 private:
  std::array<double, kQuantities> values_{};
  QuantitySet present_;
};

}  // namespace packmile::benchvan
