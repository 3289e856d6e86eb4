#include "report/web/assets.hpp"

namespace packmile::report {

std::string_view style_css() { return "body{font:10pt/1.4 sans-serif}"; }
std::string_view charts_js() { return "/* no charts yet */"; }

}  // namespace packmile::report
