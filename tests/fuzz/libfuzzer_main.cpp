// One fuzz target as libFuzzer calls it; PACKMILE_FUZZ_TARGET names it.
#include <cstddef>
#include <cstdint>

#include "fuzz/targets.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  packmile::fuzz::PACKMILE_FUZZ_TARGET({bytes, size});
  return 0;
}
