// When frames of others crowd the serial line to the adapter: the logger then asks
// less often, and whoever reads the card says so.
#pragma once
#include <cstdint>

namespace packmile {

// Frames of others in one second; more than half of what a line at 115200 baud
// carries. Common practice, no source.
inline constexpr std::uint32_t kCrowdedFramesPerS = 300;

}  // namespace packmile
