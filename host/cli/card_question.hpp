// What one card can tell by itself, as rows and as plain words: `check`.
#pragma once
#include <string>
#include <vector>

#include "card/card_survey.hpp"
#include "cli/van_heard.hpp"
#include "ledger/row.hpp"

namespace packmile::cli {

[[nodiscard]] std::vector<Column> check_columns();
[[nodiscard]] Row row_of(const CardSurvey& survey, const VanHeard& heard);

// The same for people, a few lines; ends with a line feed.
[[nodiscard]] std::string check_text(const CardSurvey& survey, const VanHeard& heard);

// "7E8", "18DAF110"
[[nodiscard]] std::string ecu_text(std::uint32_t ecu);
// What a verdict agreed on, for people; empty where it did not.
[[nodiscard]] std::string value_text(const Verdict& verdict);
// The catalogue's name, else signal_ and the number.
[[nodiscard]] std::string signal_text(SignalId signal);

}  // namespace packmile::cli
