// memcpy, memmove, memset and memcmp, which the compiler calls by itself. The
// library's are made for speed, of 700 bytes; here nothing that is copied is longer
// than a sector, and flash is what is scarce.
//
// Compiled without optimisation of the whole (CMakeLists.txt): the compiler must not
// make calls of memcpy out of the loops of memcpy.
#include <cstddef>
#include <cstdint>

extern "C" {

void* memmove(void* to, const void* from, std::size_t bytes) {
  auto* out = static_cast<std::uint8_t*>(to);
  const auto* in = static_cast<const std::uint8_t*>(from);
  if (out <= in) {
    for (std::size_t i = 0; i < bytes; ++i) out[i] = in[i];
  } else {
    while (bytes != 0) {
      --bytes;
      out[bytes] = in[bytes];
    }
  }
  return to;
}

[[gnu::alias("memmove")]] void* memcpy(void* to, const void* from, std::size_t bytes);

void* memset(void* to, int value, std::size_t bytes) {
  auto* out = static_cast<std::uint8_t*>(to);
  for (std::size_t i = 0; i < bytes; ++i) out[i] = static_cast<std::uint8_t>(value);
  return to;
}

int memcmp(const void* a, const void* b, std::size_t bytes) {
  const auto* left = static_cast<const std::uint8_t*>(a);
  const auto* right = static_cast<const std::uint8_t*>(b);
  for (std::size_t i = 0; i < bytes; ++i)
    if (left[i] != right[i]) return left[i] - right[i];
  return 0;
}

}  // extern "C"
