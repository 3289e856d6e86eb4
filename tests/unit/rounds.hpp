// How often a test repeats what chance or exhaustion would have it repeat.
//
// Rule      a run makes a tenth of it, under the sanitizers (ten times slower) a
//           hundredth; PACKMILE_SHARE=1 makes all, =N one of N.
#pragma once
#include <algorithm>
#include <cstdint>
#include <cstdlib>

namespace packmile::testing {

inline std::uint64_t rounds_of(std::uint64_t all) {
#ifdef __SANITIZE_ADDRESS__
  constexpr std::uint64_t kShare = 100;
#else
  constexpr std::uint64_t kShare = 10;
#endif
  const char* const asked = std::getenv("PACKMILE_SHARE");
  const long share = asked ? std::strtol(asked, nullptr, 10) : static_cast<long>(kShare);
  return std::max<std::uint64_t>(1, all / (share > 0 ? static_cast<std::uint64_t>(share) : kShare));
}

}  // namespace packmile::testing
