// How the logger itself failed, in words: from what a boot says of the run before it.
#pragma once
#include <string>
#include <vector>

#include "card/card_survey.hpp"

namespace packmile::cli {

// One sentence: what happened, the registers as the logger wrote them down, the
// logger's version. Empty: the boot does not follow a failure.
[[nodiscard]] std::string failure_text(const BootFacts& boot);

// Those of a card, the newest first, each with the boot that told it; of more than
// ten, how many there are. Empty: there was none.
[[nodiscard]] std::vector<std::string> failures_of(const CardSurvey& survey);

}  // namespace packmile::cli
