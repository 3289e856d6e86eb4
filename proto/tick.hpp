// The time that the logger counts in.
#pragma once
#include <cstdint>

namespace packmile {

// Milliseconds since power-up. 64 bits: 32 would wrap after 49.7 days.
using Tick = std::uint64_t;

}  // namespace packmile
