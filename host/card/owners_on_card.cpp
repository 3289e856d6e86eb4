#include "card/owners_on_card.hpp"

#include <algorithm>

namespace packmile {
namespace {

constexpr std::size_t kMostDefinitions = 16 * kMaxOwnersSignals;

void add(std::vector<CardOwnersSignal>& signals, SignalId id, const OwnersDefinition& definition,
         bool CardOwnersSignal::*where) {
  auto at = std::find_if(signals.begin(), signals.end(), [&](const CardOwnersSignal& s) {
    return s.id == id && s.definition == definition;
  });
  if (at == signals.end()) {
    if (signals.size() == kMostDefinitions) return;
    at = signals.insert(at, {id, definition});
  }
  (*at).*where = true;
}

}  // namespace

std::vector<CardOwnersSignal> owners_signals_of(const CardSettings* settings,
                                                std::span<const BootFacts> boots) {
  std::vector<CardOwnersSignal> out;
  if (settings != nullptr) {
    SignalId id = kFirstOwnersSignal;
    for (const OwnersDefinition& definition : settings->owners_signals)
      add(out, id++, definition, &CardOwnersSignal::in_settings);
  }
  for (const BootFacts& boot : boots)
    for (const BootOwnersSignal& signal : boot.owners_signals)
      add(out, signal.id, signal.definition, &CardOwnersSignal::in_sessions);
  std::stable_sort(
      out.begin(), out.end(),
      [](const CardOwnersSignal& a, const CardOwnersSignal& b) { return a.id < b.id; });
  return out;
}

std::vector<std::uint16_t> dids_of(std::span<const CardOwnersSignal> signals) {
  std::vector<std::uint16_t> out;
  for (const CardOwnersSignal& signal : signals) out.push_back(signal.definition.did);
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

}  // namespace packmile
