// The owner's signals that a card defines, in its settings or its session
// records.
#pragma once
#include <span>
#include <vector>

#include "card/boot_facts.hpp"
#include "card/owners_definition.hpp"

namespace packmile {

struct CardOwnersSignal {
  SignalId id = 0;
  OwnersDefinition definition;
  bool in_settings = false;
  bool in_sessions = false;
};

// By id; more than one of an id where boots were told different things. Of a
// forged card no more than 256. `settings`: nullptr where there are none.
[[nodiscard]] std::vector<CardOwnersSignal> owners_signals_of(const CardSettings* settings,
                                                              std::span<const BootFacts> boots);
// Ascending, each once.
[[nodiscard]] std::vector<std::uint16_t> dids_of(std::span<const CardOwnersSignal> signals);

}  // namespace packmile
