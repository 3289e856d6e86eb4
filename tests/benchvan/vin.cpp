#include "benchvan/vin.hpp"

#include <fmt/format.h>

#include <array>

namespace packmile::benchvan {
namespace {

// 49 CFR 565, table III: values of A..Z (0: not allowed) and weights.
constexpr std::array<int, 26> kLetterValues{1, 2, 3, 4, 5, 6, 7, 8, 0, 1, 2, 3, 4,
                                            5, 0, 7, 0, 9, 2, 3, 4, 5, 6, 7, 8, 9};
constexpr std::array<int, 17> kWeights{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};

bool allowed(char c) {
  if (c >= '0' && c <= '9') return true;
  return c >= 'A' && c <= 'Z' && kLetterValues[static_cast<std::size_t>(c - 'A')] != 0;
}

}  // namespace

char vin_check_digit(std::string_view vin) {
  int sum = 0;
  for (std::size_t i = 0; i < vin.size() && i < kWeights.size(); ++i) {
    const char c = vin[i];
    int value = 0;
    if (c >= '0' && c <= '9') {
      value = c - '0';
    } else if (c >= 'A' && c <= 'Z') {
      value = kLetterValues[static_cast<std::size_t>(c - 'A')];
    }
    sum += value * kWeights[i];
  }
  return sum % 11 == 10 ? 'X' : static_cast<char>('0' + sum % 11);
}

std::string invented_vin(unsigned number) {
  std::string vin = fmt::format("0PMLVAN10T0{:06}", number % 1000000);
  vin[8] = vin_check_digit(vin);
  return vin;
}

std::string vin_trouble(std::string_view vin) {
  if (vin.empty() || vin.size() > 17) {
    return fmt::format("{} characters, a VIN has at most 17", vin.size());
  }
  for (const char c : vin) {
    if (!allowed(c)) return fmt::format("'{}' cannot be in a VIN", c);
  }
  return {};
}

}  // namespace packmile::benchvan
