#include "notes/currency.hpp"

#include <doctest/doctest.h>

using namespace packmile;

TEST_CASE("decimals are those of the currency's minor unit") {
  CHECK(minor_digits("GBP") == 2);
  CHECK(minor_digits("JPY") == 0);
  CHECK(minor_digits("KWD") == 3);
  CHECK(minor_digits("XXX") == 2);
  CHECK(money_text(9.374, "EUR") == "9.37");
  CHECK(money_text(937.4, "JPY") == "937");
  CHECK(money_text(1.2345, "BHD") == "1.235");
}

TEST_CASE("halves are rounded away from zero, and nothing is minus nought") {
  CHECK(money_text(0.285, "GBP") == "0.29");
  CHECK(money_text(-0.285, "GBP") == "-0.29");
  CHECK(money_text(-0.001, "GBP") == "0.00");
}

TEST_CASE("an interval that reads the same is left out") {
  CHECK(money_text(Figure{9.37, 9.37, 9.37, 0}, "GBP") == "9.37");
  CHECK(money_text(Figure{9.37, 9.1, 9.6, 0}, "GBP") == "9.37 (9.10 to 9.60)");
  CHECK(money_text(MaybeFigure::unknown("why"), "GBP") == "-");
}

TEST_CASE("the price of a kWh has one decimal more than a sum") {
  CHECK(price_text(0.0842, "GBP") == "0.084");
  CHECK(price_text(31, "JPY") == "31.0");
  CHECK(price_text(0.0257, "KWD") == "0.0257");
  CHECK(price_text(0.4399, "XXX") == "0.440");
}
