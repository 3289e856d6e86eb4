// Pin 16 of the van's socket as a board's converter sees it: behind 75 kohm over
// 10 kohm (hardware-notes/porting.md), the same on every board.
#pragma once
#include <cstdint>

namespace packmile::cortex_m {

// `steps`: of kConverterSteps, which stand for kReferenceMv. Millivolts at the pin,
// rounded down.
template <std::uint32_t kReferenceMv, std::uint32_t kConverterSteps>
[[nodiscard]] constexpr std::uint16_t supply_mv_of(std::uint32_t steps) {
  constexpr std::uint32_t kTopKohm = 75;
  constexpr std::uint32_t kBottomKohm = 10;
  constexpr std::uint32_t kPinMv = kReferenceMv * (kTopKohm + kBottomKohm);
  static_assert(kPinMv / kBottomKohm <= UINT16_MAX);
  static_assert(kPinMv <= UINT32_MAX / kConverterSteps);
  return static_cast<std::uint16_t>(steps % kConverterSteps * kPinMv /
                                    (kConverterSteps * kBottomKohm));
}

}  // namespace packmile::cortex_m
