// What is not known of a van, and how to find out: sentences, what matters most first.
#pragma once
#include <string>
#include <vector>

#include "report/evidence.hpp"

namespace packmile::report {

[[nodiscard]] std::vector<std::string> unknown_sentences(const VanEvidence& van,
                                                         const DepotEvidence& depot);

}  // namespace packmile::report
