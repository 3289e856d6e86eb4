#include "core/utf8.hpp"

#include <cstddef>

namespace packmile {

bool is_utf8(std::span<const std::uint8_t> text) {
  std::size_t i = 0;
  while (i < text.size()) {
    const std::uint8_t lead = text[i++];
    if (lead < 0x80) continue;
    std::size_t more = 0;
    std::uint32_t smallest = 0;
    std::uint32_t code = 0;
    if (lead >> 5 == 0x06) {
      more = 1;
      smallest = 0x80;
      code = lead & 0x1Fu;
    } else if (lead >> 4 == 0x0E) {
      more = 2;
      smallest = 0x800;
      code = lead & 0x0Fu;
    } else if (lead >> 3 == 0x1E) {
      more = 3;
      smallest = 0x10000;
      code = lead & 0x07u;
    } else {
      return false;
    }
    if (text.size() - i < more) return false;
    for (; more != 0; --more) {
      const std::uint8_t next = text[i++];
      if (next >> 6 != 0x02) return false;
      code = code << 6 | (next & 0x3Fu);
    }
    if (code < smallest || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) return false;
  }
  return true;
}

}  // namespace packmile
