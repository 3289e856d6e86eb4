#include "benchvan/fields_to_answer.hpp"

#include <fmt/format.h>

#include <cstdio>

#include "benchvan/bench_error.hpp"

namespace packmile::benchvan {

std::vector<OwnersField> fields_to_answer(const std::string& card,
                                          const std::vector<OwnersField>& on_card, Answers answers,
                                          const Faults& faults) {
  if (answers != Answers::owner) return {};
  if (on_card.empty()) {
    if (!card.empty()) {
      fmt::print(stderr,
                 "{}: its settings define no signals: the van answers the bench's own, and the "
                 "logger will not ask for them\n"
                 "  packmile-benchvan signals prints them for fleet.toml\n",
                 card);
    }
    return benchs_own_fields(faults.v_and_a_apart, faults.ids_29bit);
  }
  for (const OwnersField& field : on_card) {
    const std::string trouble = field_trouble(field);
    if (trouble.empty()) continue;
    throw BenchError(fmt::format("{}: signal '{}' in the settings cannot be played: {}", card,
                                 field.name, trouble));
  }
  return on_card;
}

}  // namespace packmile::benchvan
