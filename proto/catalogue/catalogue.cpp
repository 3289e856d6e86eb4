#include "catalogue/catalogue.hpp"

#include "catalogue/lines.hpp"

namespace packmile {

using catalogue_lines::kPids;
using catalogue_lines::kSignals;

std::string_view name_of(Confidence confidence) {
  switch (confidence) {
    case Confidence::tools:
      return "two tools agree";
    case Confidence::source:
      return "read in source";
    case Confidence::secondary:
      return "secondary source";
    case Confidence::memory:
      return "from memory";
  }
  return "";
}

std::span<const PidEntry> pid_catalogue() { return kPids; }
std::span<const SignalEntry> signal_catalogue() { return kSignals; }

const PidEntry* find_pid(std::uint8_t pid) {
  for (const PidEntry& entry : kPids)
    if (entry.pid == pid) return &entry;
  return nullptr;
}

const SignalEntry* find_signal(SignalId id) {
  for (const SignalEntry& entry : kSignals)
    if (entry.id == id) return &entry;
  return nullptr;
}

const SignalEntry* find_signal(std::string_view name) {
  for (const SignalEntry& entry : kSignals)
    if (entry.name == name) return &entry;
  return nullptr;
}

std::span<const SignalEntry> signals_of_pid(std::uint8_t pid) {
  std::size_t first = 0;
  while (first < kSignals.size() && kSignals[first].pid != pid) ++first;
  std::size_t last = first;
  while (last < kSignals.size() && kSignals[last].pid == pid) ++last;
  return std::span<const SignalEntry>(kSignals).subspan(first, last - first);
}

}  // namespace packmile
