#include "report/number_text.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

namespace packmile {
namespace {

// Beyond the sixth decimal nothing here is worth reading.
constexpr int kMostDecimals = 6;

}  // namespace

std::string number_text(double value, int decimals) {
  if (decimals < 0) {
    const double step = std::pow(10.0, -decimals);
    value = std::round(value / step) * step;
    decimals = 0;
  }
  std::string text = fmt::format("{:.{}f}", value, decimals);
  // "-0.0" is a zero.
  if (text.front() == '-' && text.find_first_of("123456789") == text.npos) text.erase(0, 1);
  return text;
}

std::string figure_text(const Figure& figure, double factor, int plain_decimals) {
  const double low = figure.low * factor, high = figure.high * factor;
  const double u = (high - low) / 2 / kZ95;
  if (!std::isfinite(u) || u <= 0) return number_text(figure.value * factor, plain_decimals);
  int decimals = 1 - static_cast<int>(std::floor(std::log10(u)));
  // 0.0996 rounds to 0.10: one digit less.
  if (std::round(u * std::pow(10.0, decimals)) >= 100) --decimals;
  decimals = std::min(decimals, kMostDecimals);
  return number_text(figure.value * factor, decimals) + " (" + number_text(low, decimals) + " to " +
         number_text(high, decimals) + ")";
}

std::string figure_text(const MaybeFigure& figure, double factor, int plain_decimals) {
  return figure.figure ? figure_text(*figure.figure, factor, plain_decimals) : "-";
}

std::string share_text(double share) {
  return fmt::format("{:.1f} %", std::floor(share * 1000 + 1e-9) / 10);
}

}  // namespace packmile
