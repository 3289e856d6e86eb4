// What a report's page is dressed in: kept in the program, so that a report is one
// file that needs nothing beside it.
#pragma once

#include <string_view>

namespace packmile::report {

// The page's style sheet, to stand in its head between <style> and </style>.
std::string_view style_css();

// The script that draws the charts from the page's `chart-data` and works its
// filter, to stand at the end of body between <script> and </script>; it shows the
// licence texts of the chart library that it holds. Empty in a build without
// charts (PACKMILE_CHARTS=OFF): then the page has no script at all.
std::string_view charts_js();

}  // namespace packmile::report
