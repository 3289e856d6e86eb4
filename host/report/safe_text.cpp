#include "report/safe_text.hpp"

#include <cstdint>

#include "utf8.hpp"

namespace packmile {
namespace {

bool harmless(std::uint32_t c) {
  if (c < 0x20 || (c >= 0x7F && c < 0xA0)) return false;
  // Line ends, marks and overrides of the direction of writing.
  if (c == 0x2028 || c == 0x2029 || c == 0x200E || c == 0x200F) return false;
  return !(c >= 0x202A && c <= 0x202E) && !(c >= 0x2066 && c <= 0x2069);
}

}  // namespace

std::string clean_text(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const CodePoint one = decode_utf8(text);
    if (one.bytes != 0 && harmless(one.value))
      out += text.substr(0, one.bytes);
    else
      out += '?';
    text.remove_prefix(one.bytes == 0 ? 1 : one.bytes);
  }
  return out;
}

std::string html_escaped(std::string_view text) {
  std::string out;
  for (const char c : clean_text(text)) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      default:
        out += c;
    }
  }
  return out;
}

}  // namespace packmile
