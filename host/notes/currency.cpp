#include "notes/currency.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace packmile {
namespace {

// ISO 4217, list one (from memory): those whose minor unit is not a hundredth.
constexpr std::array<std::string_view, 17> kNone{"BIF", "CLP", "DJF", "GNF", "ISK", "JPY",
                                                 "KMF", "KRW", "PYG", "RWF", "UGX", "UYI",
                                                 "VND", "VUV", "XAF", "XOF", "XPF"};
constexpr std::array<std::string_view, 7> kThousandth{"BHD", "IQD", "JOD", "KWD",
                                                      "LYD", "OMR", "TND"};
constexpr std::array<std::string_view, 2> kTenThousandth{"CLF", "UYW"};

}  // namespace

int minor_digits(std::string_view currency) {
  const auto in = [&](const auto& list) { return std::ranges::find(list, currency) != list.end(); };
  return in(kNone) ? 0 : in(kThousandth) ? 3 : in(kTenThousandth) ? 4 : 2;
}

namespace {

std::string rounded_text(double sum, int digits) {
  const double unit = std::pow(10.0, digits);
  // 0.285 is 0.28499.. as a double: what is within a billionth of a half counts as one.
  const double minor = std::round(sum * unit + std::copysign(1e-9, sum));
  return fmt::format("{:.{}f}", minor / unit + 0.0, digits);
}

}  // namespace

std::string money_text(double sum, std::string_view currency) {
  return rounded_text(sum, minor_digits(currency));
}

std::string price_text(double price, std::string_view currency) {
  return rounded_text(price, minor_digits(currency) + 1);
}

std::string money_text(const Figure& sum, std::string_view currency) {
  const std::string value = money_text(sum.value, currency), low = money_text(sum.low, currency),
                    high = money_text(sum.high, currency);
  if (low == value && high == value) return value;
  return fmt::format("{} ({} to {})", value, low, high);
}

std::string money_text(const MaybeFigure& sum, std::string_view currency) {
  return sum.figure ? money_text(*sum.figure, currency) : "-";
}

}  // namespace packmile
