// Vehicle identification numbers for vans that do not exist.
//
// Standard  check digit of 49 CFR 565. The first three characters 0PM belong to
//           no region of ISO 3780, so that no real van can have such a number.
#pragma once
#include <string>
#include <string_view>

namespace packmile::benchvan {

// The ninth character that makes the VIN of 17 right; a letter that is not
// allowed counts as 0.
[[nodiscard]] char vin_check_digit(std::string_view vin);
// An invented VIN with a good check digit; number 0..999999.
[[nodiscard]] std::string invented_vin(unsigned number);
// Empty: fine. Else what is wrong: length 1..17, digits and capital letters
// without I, O, Q.
[[nodiscard]] std::string vin_trouble(std::string_view vin);

}  // namespace packmile::benchvan
