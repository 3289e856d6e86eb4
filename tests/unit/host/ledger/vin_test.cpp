#include "ledger/vin.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace packmile;

// Source: 1M8GDM9AXKP042788 is the worked example of 49 CFR 565 (check digit X);
// 11111111111111111 the well known straight-ones test VIN.
TEST_CASE("vin: the published examples have their check digit") {
  CHECK(vin_check_digit_holds("1M8GDM9AXKP042788"));
  CHECK(vin_check_digit_holds("11111111111111111"));
}

// No source: every single wrong digit must show (11 is a prime, weights 2..10).
TEST_CASE("vin: one wrong digit breaks the check digit") {
  const std::string good = "1M8GDM9AXKP042788";
  for (std::size_t k = 11; k < good.size(); ++k) {
    CAPTURE(k);
    std::string wrong = good;
    wrong[k] = wrong[k] == '9' ? '0' : static_cast<char>(wrong[k] + 1);
    CHECK(is_vin(wrong));
    CHECK_FALSE(vin_check_digit_holds(wrong));
  }
}

// Source: ISO 3779, 17 characters without I, O and Q.
TEST_CASE("vin: letters that look like digits, small letters and other lengths are refused") {
  CHECK(is_vin("WAUZZZ8V5KA000001"));
  for (const char* wrong :
       {"", "1M8GDM9AXKP04278", "1M8GDM9AXKP0427888", "IM8GDM9AXKP042788", "1M8GDM9AXKPO42788",
        "1M8GDM9AXKPQ42788", "1m8gdm9axkp042788", "1M8GDM9A KP042788"}) {
    CAPTURE(std::string{wrong});
    CHECK_FALSE(is_vin(wrong));
    CHECK_FALSE(vin_check_digit_holds(wrong));
  }
}
