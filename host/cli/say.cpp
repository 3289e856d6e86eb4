#include "cli/say.hpp"

#include <fmt/core.h>

#include <cstdint>
#include <cstdio>

namespace packmile::cli {
namespace {

struct Decoded {
  std::uint32_t code_point = 0;
  std::size_t bytes = 0;  // 0: not UTF-8
};

// RFC 3629: shortest form only, no surrogates, nothing above U+10FFFF.
Decoded decode_one(std::string_view text) {
  const auto byte = [&](std::size_t k) { return static_cast<unsigned char>(text[k]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80) return {lead, 1};
  const std::size_t bytes = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : lead >= 0xC2 ? 2 : 0;
  if (bytes == 0 || lead > 0xF4 || text.size() < bytes) return {};
  std::uint32_t code_point = lead & (0x7Fu >> bytes);
  for (std::size_t k = 1; k < bytes; ++k) {
    if ((byte(k) & 0xC0) != 0x80) return {};
    code_point = code_point << 6 | (byte(k) & 0x3F);
  }
  constexpr std::uint32_t kLeast[] = {0, 0, 0x80, 0x800, 0x10000};
  const bool surrogate = code_point >= 0xD800 && code_point <= 0xDFFF;
  if (code_point < kLeast[bytes] || code_point > 0x10FFFF || surrogate) return {};
  return {code_point, bytes};
}

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
    const Decoded one = decode_one(text);
    if (one.bytes != 0 && harmless(one.code_point))
      out += text.substr(0, one.bytes);
    else
      out += '?';
    text.remove_prefix(one.bytes == 0 ? 1 : one.bytes);
  }
  return out;
}

void say(const Error& error) {
  const std::string where = error.where.empty() ? "" : clean_text(error.where) + ": ";
  fmt::print(stderr, "packmile: {}{}\n", where, clean_text(error.what));
  if (!error.hint.empty()) fmt::print(stderr, "  {}\n", clean_text(error.hint));
}

void say(std::string_view text) { fmt::print(stderr, "packmile: {}\n", clean_text(text)); }

ExitCode wrong_usage(const std::string& what, const std::string& hint) {
  say(Error{what, {}, hint});
  return ExitCode::usage;
}

}  // namespace packmile::cli
