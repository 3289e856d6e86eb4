#include "report/web/assets.hpp"

#include <cstddef>

// The assembler copies the files in: a compiler would take seconds for a literal of
// this size.
#define PACKMILE_EMBED(name, path)      \
  asm(".section .rodata\n"              \
      ".global " #name "_begin\n" #name \
      "_begin:\n"                       \
      ".incbin \"" path                 \
      "\"\n"                            \
      ".global " #name "_end\n" #name   \
      "_end:\n"                         \
      ".byte 0\n"                       \
      ".text\n")

PACKMILE_EMBED(packmile_style_css, PACKMILE_STYLE_CSS);
PACKMILE_EMBED(packmile_charts_js, PACKMILE_CHARTS_JS);

extern "C" {
extern const char packmile_style_css_begin[], packmile_style_css_end[];
extern const char packmile_charts_js_begin[], packmile_charts_js_end[];
}

namespace packmile::report {
namespace {

std::string_view between(const char* begin, const char* end) {
  return {begin, static_cast<std::size_t>(end - begin)};
}

}  // namespace

std::string_view style_css() { return between(packmile_style_css_begin, packmile_style_css_end); }
std::string_view charts_js() { return between(packmile_charts_js_begin, packmile_charts_js_end); }

}  // namespace packmile::report
