#include "ledger/vin.hpp"

#include <algorithm>
#include <array>

namespace packmile {
namespace {

constexpr std::size_t kVinLength = 17;

// 49 CFR 565.15, table III: letters to numbers.
constexpr int value_of(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'A' && c <= 'H') return c - 'A' + 1;
  if (c >= 'J' && c <= 'R') return c - 'J' + 1;
  return c - 'S' + 2;
}

// 49 CFR 565.15, table IV: weight by position; the check digit itself counts 0.
constexpr std::array<int, kVinLength> kWeights{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};

}  // namespace

bool is_vin(std::string_view vin) {
  return vin.size() == kVinLength && std::ranges::all_of(vin, [](char c) {
           const bool digit = c >= '0' && c <= '9';
           const bool letter = c >= 'A' && c <= 'Z' && c != 'I' && c != 'O' && c != 'Q';
           return digit || letter;
         });
}

bool vin_check_digit_holds(std::string_view vin) {
  if (!is_vin(vin)) return false;
  int sum = 0;
  for (std::size_t k = 0; k < kVinLength; ++k) sum += value_of(vin[k]) * kWeights[k];
  const int digit = sum % 11;
  return vin[8] == (digit == 10 ? 'X' : static_cast<char>('0' + digit));
}

}  // namespace packmile
