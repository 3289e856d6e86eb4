// What a mile costs and whether a van still earns its keep, as sentences.
//
// Input     rows of `cost` and `compare`.
// Rule      a van is called dearer or cheaper only where the intervals have nothing
//           in common, and only against vans whose sums leave out the same things.
#pragma once
#include <string>
#include <vector>

#include "report/evidence.hpp"

namespace packmile::report {

// Who is dearest by the mile over the last kSoonDays, or why that is not told.
[[nodiscard]] std::string dearest_sentence(const DepotEvidence& depot);
// "By energy alone Oak was dearest: .."; empty where that is not told of every van.
[[nodiscard]] std::string dearest_by_energy_sentence(const DepotEvidence& depot);
// "£0.43 (0.39 to 0.47) a mile, without tyres; it reads high: .."; or why there is none.
[[nodiscard]] std::string cost_sentence(const VanEvidence& van, const DepotEvidence& depot);
// "without loss in value" and the like: what the sum leaves out; empty: nothing.
[[nodiscard]] std::string left_out_words(const VanCost& cost);

// "worth keeping below £11,900 (10,100 to 13,800); what moves that most: .."; or what
// is missing.
[[nodiscard]] std::string keep_sentence(const VanEvidence& van, const Words& words);
// How far the pack reaches in the cold and whether that is its round.
[[nodiscard]] std::string winter_sentence(const VanEvidence& van, const Words& words);
// How its energy by distance differs from the others', as far as that is decided.
[[nodiscard]] std::string energy_sentence(const VanEvidence& van, std::size_t vans,
                                          const Words& words);
// "what another van costs" of challenger_price; the key itself where it is another.
[[nodiscard]] std::string input_words(std::string_view key);

}  // namespace packmile::report
