// Wheels and axles of a van, as notes and fleet.toml write them.
//
// Rule      left and right are those of the driver, looking forward.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace packmile {

enum class Wheel : std::uint8_t { front_left, front_right, rear_left, rear_right };
enum class Axle : std::uint8_t { front, rear };

inline constexpr std::array kWheels{Wheel::front_left, Wheel::front_right, Wheel::rear_left,
                                    Wheel::rear_right};
inline constexpr std::array kAxles{Axle::front, Axle::rear};
// In order of the enums.
inline constexpr std::array<std::string_view, 4> kWheelWords{"fl", "fr", "rl", "rr"};
inline constexpr std::array<std::string_view, 2> kAxleWords{"front", "rear"};

// "fl"
[[nodiscard]] constexpr std::string_view word_of(Wheel wheel) {
  return kWheelWords[static_cast<std::size_t>(wheel)];
}
[[nodiscard]] constexpr std::string_view word_of(Axle axle) {
  return kAxleWords[static_cast<std::size_t>(axle)];
}
// "front left"
[[nodiscard]] constexpr std::string_view name_of(Wheel wheel) {
  constexpr std::array<std::string_view, 4> kNames{"front left", "front right", "rear left",
                                                   "rear right"};
  return kNames[static_cast<std::size_t>(wheel)];
}
[[nodiscard]] constexpr Axle axle_of(Wheel wheel) {
  return wheel == Wheel::front_left || wheel == Wheel::front_right ? Axle::front : Axle::rear;
}

[[nodiscard]] constexpr std::optional<Wheel> wheel_named(std::string_view word) {
  for (const Wheel wheel : kWheels)
    if (word_of(wheel) == word) return wheel;
  return std::nullopt;
}
[[nodiscard]] constexpr std::optional<Axle> axle_named(std::string_view word) {
  for (const Axle axle : kAxles)
    if (word_of(axle) == word) return axle;
  return std::nullopt;
}

// Whether a word that names a place (fl .. rr, front, rear) is about `position`: an axle
// is both its wheels.
[[nodiscard]] constexpr bool place_covers(std::string_view place, std::string_view position) {
  if (place == position) return true;
  const auto axle = axle_named(place);
  const auto wheel = wheel_named(position);
  return axle && wheel && axle_of(*wheel) == *axle;
}

}  // namespace packmile
