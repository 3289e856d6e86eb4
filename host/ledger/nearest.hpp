// The known word that a mistyped one was most likely meant to be.
//
// Method    Damerau-Levenshtein distance (optimal string alignment); at most a
//           third of the letters, and never more than two, may differ (common
//           practice, no source).
#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace packmile {

// Insertions, removals, changes and swaps of neighbours, in bytes.
[[nodiscard]] std::size_t edit_distance(std::string_view a, std::string_view b);

// None when nothing is near. The first of equally near words.
[[nodiscard]] std::optional<std::string> nearest_of(std::string_view word,
                                                    std::span<const std::string> known);

// "; did you mean 'zone'?" or nothing.
[[nodiscard]] std::string did_you_mean(std::string_view word, std::span<const std::string> known);

}  // namespace packmile
