// Vehicle identification numbers.
//
// Standard  ISO 3779 (17 characters, no I, O, Q); check digit 49 CFR 565.15.
#pragma once
#include <string_view>

namespace packmile {

// 17 capital letters and digits without I, O and Q.
[[nodiscard]] bool is_vin(std::string_view vin);

// The ninth character is the check digit of the others. Only vehicles for
// North America must keep to it: a mismatch is a reason to look again, never
// one to refuse. False for what is not a VIN at all.
[[nodiscard]] bool vin_check_digit_holds(std::string_view vin);

}  // namespace packmile
