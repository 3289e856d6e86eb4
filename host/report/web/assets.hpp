// Style and script of the report, embedded when the program is built.
#pragma once
#include <string_view>

namespace packmile::report {

[[nodiscard]] std::string_view style_css();
// Empty where the build leaves charts out.
[[nodiscard]] std::string_view charts_js();

}  // namespace packmile::report
