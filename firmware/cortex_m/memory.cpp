// memcpy, memmove, memset and memcmp, which the compiler calls by itself. The
// library's are made for speed, of 780 bytes; here nothing that is copied often is
// longer than a sector.
//
// Compiled by itself (CMakeLists.txt): the compiler must not make calls of memcpy out
// of the loops of memcpy.
#include "cortex_m/memory_loops.hpp"

namespace cortex_m = packmile::cortex_m;

extern "C" {

void* memmove(void* to, const void* from, std::size_t bytes) {
  cortex_m::move_bytes(static_cast<std::uint8_t*>(to), static_cast<const std::uint8_t*>(from),
                       bytes);
  return to;
}

[[gnu::alias("memmove")]] void* memcpy(void* to, const void* from, std::size_t bytes);

void* memset(void* to, int value, std::size_t bytes) {
  cortex_m::fill_bytes(static_cast<std::uint8_t*>(to), static_cast<std::uint8_t>(value), bytes);
  return to;
}

int memcmp(const void* a, const void* b, std::size_t bytes) {
  return cortex_m::compare_bytes(static_cast<const std::uint8_t*>(a),
                                 static_cast<const std::uint8_t*>(b), bytes);
}

}  // extern "C"
