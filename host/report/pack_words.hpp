// What is known of a van's pack, in one sentence with method and date.
//
// Input     rows of `capacity` and `fade`.
// Rule      the controller's own scale is never called more than that; a fade is
//           told only where its interval leaves 0 out.
#pragma once
#include <string>
#include <string_view>

#include "report/evidence.hpp"

namespace packmile::report {

// "by the controller's own scale"
[[nodiscard]] std::string_view method_words(CapacityMethod method);
// The newest row of the whole record that tells Ah, the controller's scale first;
// else the first of all, which says why nothing is told.
[[nodiscard]] const CapacityRow& latest_capacity(const VanEvidence& van);
// The fade by age, else by distance, else by cycles; nullptr: none has a slope.
[[nodiscard]] const FadeRow* told_fade(const VanEvidence& van);
// A row that puts the pack against the owner's expectation; nullptr: none does.
[[nodiscard]] const FadeRow* told_expectation(const VanEvidence& van);

[[nodiscard]] std::string pack_sentence(const VanEvidence& van, const Zone& zone,
                                        const Words& words);

}  // namespace packmile::report
