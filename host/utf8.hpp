// One code point of UTF-8 at a time, from bytes that may be anything.
//
// Standard  RFC 3629: shortest form only, no surrogates, nothing above U+10FFFF.
#pragma once
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace packmile {

struct CodePoint {
  std::uint32_t value = 0;
  std::size_t bytes = 0;  // 0: not UTF-8
};

// The first one of a text that is not empty.
[[nodiscard]] inline CodePoint decode_utf8(std::string_view text) {
  const auto byte = [&](std::size_t k) { return static_cast<unsigned char>(text[k]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80) return {lead, 1};
  const std::size_t bytes = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : lead >= 0xC2 ? 2 : 0;
  if (bytes == 0 || lead > 0xF4 || text.size() < bytes) return {};
  std::uint32_t value = lead & (0x7Fu >> bytes);
  for (std::size_t k = 1; k < bytes; ++k) {
    if ((byte(k) & 0xC0) != 0x80) return {};
    value = value << 6 | (byte(k) & 0x3F);
  }
  constexpr std::uint32_t kLeast[] = {0, 0, 0x80, 0x800, 0x10000};
  const bool surrogate = value >= 0xD800 && value <= 0xDFFF;
  if (value < kLeast[bytes] || value > 0x10FFFF || surrogate) return {};
  return {value, bytes};
}

}  // namespace packmile
