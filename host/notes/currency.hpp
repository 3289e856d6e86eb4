// Sums of money as people write them.
//
// Standard  ISO 4217: how many decimals a currency's minor unit has.
#pragma once
#include <string>
#include <string_view>

#include "figure.hpp"

namespace packmile {

// 2 for all that the standard does not list otherwise; XXX (no currency) as 2.
[[nodiscard]] int minor_digits(std::string_view currency);
// "9.37", of JPY "937": rounded half away from zero, never "-0.00".
[[nodiscard]] std::string money_text(double sum, std::string_view currency);
// A price of one kWh or one mile: a tenth of the minor unit is told, "0.084".
[[nodiscard]] std::string price_text(double price, std::string_view currency);
// "9.37 (9.12 to 9.60)"; without the interval where all three read the same.
[[nodiscard]] std::string money_text(const Figure& sum, std::string_view currency);
// "-" when it is not known.
[[nodiscard]] std::string money_text(const MaybeFigure& sum, std::string_view currency);

}  // namespace packmile
