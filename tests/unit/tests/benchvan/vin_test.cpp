#include "benchvan/vin.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace packmile::benchvan;

// Source: 49 CFR 565 (its own sample), NHTSA outline, and well-known examples.
TEST_CASE("vin: check digits of published numbers") {
  for (const std::string vin :
       {"1G4AH59H45G118341", "1J9RP1A36A1644345", "1M8GDM9AXKP042788", "11111111111111111"}) {
    CAPTURE(vin);
    CHECK(vin_check_digit(vin) == vin[8]);
  }
  CHECK(vin_check_digit("1M8GDM9A1KP042788") == 'X');
}

TEST_CASE("vin: invented numbers are whole, valid and differ") {
  std::string last;
  for (unsigned number = 0; number < 200; ++number) {
    const std::string vin = invented_vin(number);
    CHECK(vin.size() == 17);
    CHECK(vin_trouble(vin) == "");
    CHECK(vin_check_digit(vin) == vin[8]);
    CHECK(vin != last);
    last = vin;
  }
}

TEST_CASE("vin: letters that no VIN has, and wrong lengths, are named") {
  CHECK(vin_trouble("1M8GDM9AXKP04278O") != "");
  CHECK(vin_trouble("") != "");
  CHECK(vin_trouble("1M8GDM9AXKP0427889") != "");
}
