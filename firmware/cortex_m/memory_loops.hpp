// What memmove, memset and memcmp do, byte by byte: for a machine where flash is
// scarcer than time. Results as the C standard has them (ISO/IEC 9899, 7.24).
#pragma once
#include <cstddef>
#include <cstdint>

namespace packmile::cortex_m {

// The two may overlap.
inline void move_bytes(std::uint8_t* to, const std::uint8_t* from, std::size_t bytes) {
  if (to <= from) {
    for (std::size_t i = 0; i < bytes; ++i) to[i] = from[i];
  } else {
    while (bytes != 0) {
      --bytes;
      to[bytes] = from[bytes];
    }
  }
}

inline void fill_bytes(std::uint8_t* to, std::uint8_t value, std::size_t bytes) {
  for (std::size_t i = 0; i < bytes; ++i) to[i] = value;
}

// Below 0, 0 or above 0, as the first byte that differs is less or greater in `a`.
inline int compare_bytes(const std::uint8_t* a, const std::uint8_t* b, std::size_t bytes) {
  for (std::size_t i = 0; i < bytes; ++i)
    if (a[i] != b[i]) return a[i] - b[i];
  return 0;
}

}  // namespace packmile::cortex_m
