// Which part of a van the words of a note mean.
//
// Rule      a note names a part by the part's name, whatever its capitals and
//           whether in the singular or the plural, perhaps followed by places:
//           "brake pads front", "tyre fl".
#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/fleet.hpp"

namespace packmile {

// Every van has these, whatever fleet.toml says.
inline constexpr char kTyreName[] = "tyre";
inline constexpr char kPadName[] = "brake pads";

// The places (fl fr rl rr front rear) that a note's words name behind the part's
// own; nullopt: another part.
[[nodiscard]] std::optional<std::vector<std::string>> places_in(std::string_view noted,
                                                                std::string_view part);

// What is odd about a note's word for a part where the van has parts in fleet.toml,
// and this is none of them: what was probably meant, or which there are.
[[nodiscard]] std::optional<std::string> part_doubt(std::string_view noted, const Fleet& fleet,
                                                    std::string_view van);

}  // namespace packmile
