// How one lamp tells the state of the logger: a number of short flashes, then dark.
//
//   recording        1 flash in 2 s
//   waiting          1 flash in 10 s
//   starting         5 flashes in 2 s
//   card_trouble     2 flashes in 2 s
//   adapter_trouble  3 flashes in 2 s
#pragma once
#include <algorithm>
#include <cstdint>

#include "core/port.hpp"
#include "tick.hpp"

namespace packmile::cortex_m {

struct Lamp {
  bool lit = false;
  Tick until = 0;  // when it changes next
};

[[nodiscard]] inline Lamp lamp_at(Light light, Tick now) {
  constexpr std::uint32_t kFlashMs = 20;  // seen, and a thousandth of the board's draw
  constexpr std::uint32_t kApartMs = 250;
  std::uint32_t flashes = 1;
  std::uint32_t period_ms = 2'000;
  if (light == Light::waiting) period_ms = 10'000;
  if (light == Light::starting) flashes = 5;
  if (light == Light::card_trouble) flashes = 2;
  if (light == Light::adapter_trouble) flashes = 3;
  // 32 bits: a lamp may be out of step once in 49 days, a division of 64 costs flash.
  const std::uint32_t at = static_cast<std::uint32_t>(now) % period_ms;
  const std::uint32_t in_flash = at % kApartMs;
  if (at >= flashes * kApartMs) return {false, now + (period_ms - at)};
  if (in_flash < kFlashMs) return {true, now + (kFlashMs - in_flash)};
  const std::uint32_t next = at - in_flash + kApartMs;
  return {false, now + ((next < flashes * kApartMs ? next : period_ms) - at)};
}

}  // namespace packmile::cortex_m
