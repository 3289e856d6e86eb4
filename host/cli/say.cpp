#include "cli/say.hpp"

#include <fmt/core.h>

#include <cstdint>
#include <cstdio>

#include "utf8.hpp"

namespace packmile::cli {
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
