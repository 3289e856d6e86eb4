// Takes numbers out of a fuzzer's bytes, and says what did not hold.
#pragma once
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <span>

namespace packmile::fuzz {

// A fuzzer takes abort() for a finding and keeps the input.
inline void must(bool holds, const char* what) {
  if (holds) return;
  std::fprintf(stderr, "does not hold: %s\n", what);
  std::abort();
}

// Zeros when the bytes have run out: every input means something.
class ByteSource {
 public:
  explicit ByteSource(std::span<const std::uint8_t> bytes) : rest_(bytes) {}

  [[nodiscard]] bool empty() const { return rest_.empty(); }
  std::uint8_t u8() {
    if (rest_.empty()) return 0;
    const std::uint8_t byte = rest_[0];
    rest_ = rest_.subspan(1);
    return byte;
  }
  std::uint16_t u16() {
    const std::uint16_t low = u8();
    return static_cast<std::uint16_t>(low | u8() << 8);
  }
  std::uint32_t u32() {
    const std::uint32_t low = u16();
    return low | static_cast<std::uint32_t>(u16()) << 16;
  }
  std::uint64_t u64() {
    const std::uint64_t low = u32();
    return low | static_cast<std::uint64_t>(u32()) << 32;
  }
  // As many as there are, at most `most`.
  std::span<const std::uint8_t> bytes(std::size_t most) {
    const auto taken = rest_.first(std::min(most, rest_.size()));
    rest_ = rest_.subspan(taken.size());
    return taken;
  }

 private:
  std::span<const std::uint8_t> rest_;
};

}  // namespace packmile::fuzz
