// Numbers as people should see them: never finer than they are known.
#pragma once
#include <string>

#include "figure.hpp"

namespace packmile {

// "12.30 (11.93 to 12.67)": u, the standard uncertainty that low and high
// imply, is rounded to two significant digits and the value to the same place.
// Without an interval the value alone, to `plain_decimals`. `factor` turns the
// unit (km to miles).
[[nodiscard]] std::string figure_text(const Figure& figure, double factor = 1,
                                      int plain_decimals = 1);
// "-" when it is not known.
[[nodiscard]] std::string figure_text(const MaybeFigure& figure, double factor = 1,
                                      int plain_decimals = 1);

// To so many decimals, or to the tens where they are below 0; never "-0".
[[nodiscard]] std::string number_text(double value, int decimals);

// 0..1 as "99.8 %"; cut down, so that what was not all seen is never 100 %.
[[nodiscard]] std::string share_text(double share);

}  // namespace packmile
