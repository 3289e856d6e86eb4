// Whether bytes are text that every protobuf reader takes.
//
// Standard  RFC 3629.
#pragma once
#include <cstdint>
#include <span>

namespace packmile {

// No overlong forms, no surrogates, nothing above 10FFFF.
[[nodiscard]] bool is_utf8(std::span<const std::uint8_t> text);

}  // namespace packmile
