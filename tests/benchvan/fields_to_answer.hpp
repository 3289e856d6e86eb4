// Which identifiers of its own a van answers: those that a card's settings define,
// else the bench's invented ones.
#pragma once
#include <string>
#include <vector>

#include "benchvan/ecu.hpp"
#include "benchvan/faults.hpp"
#include "benchvan/owners_fields.hpp"

namespace packmile::benchvan {

// `card`: its path, for messages; `on_card`: what its settings define. Empty for
// the other families. Throws BenchError for a definition that cannot be played.
[[nodiscard]] std::vector<OwnersField> fields_to_answer(const std::string& card,
                                                        const std::vector<OwnersField>& on_card,
                                                        Answers answers, const Faults& faults);

}  // namespace packmile::benchvan
