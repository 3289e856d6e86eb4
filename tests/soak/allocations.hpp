// How often this program has asked for memory: every operator new is counted.
#pragma once
#include <cstdint>

namespace packmile::soak {

[[nodiscard]] std::uint64_t allocations();

}  // namespace packmile::soak
