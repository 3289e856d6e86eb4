// The page of the first hour: which of the owner's questions this van's answers
// can settle, by which family and how often, and what is missing.
//
// Input     a surveyed card and what was heard on it.
// Output    one answer for each question, as data and as plain words.
#pragma once
#include <string>
#include <vector>

#include "card/card_survey.hpp"
#include "cli/van_heard.hpp"
#include "ledger/row.hpp"

namespace packmile::cli {

// energy_per_mile, charging_cost, throughput, capacity, distance, upkeep.
[[nodiscard]] std::vector<OwnersQuestion> questions_of(const CardSurvey& survey,
                                                       const VanHeard& heard);

// The same for people, two paragraphs with their titles: how often the van
// answers, and what can be known; ends with a line feed. Where the van answered
// nothing at all it says what was tried.
[[nodiscard]] std::string questions_text(const CardSurvey& survey, const VanHeard& heard);

}  // namespace packmile::cli
