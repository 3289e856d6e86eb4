#include "catalogue/layout.hpp"

#include <array>

#include "catalogue/lines.hpp"

namespace packmile {
namespace {

struct PidLayout {
  std::uint8_t pid;
  std::uint8_t bytes;
};

constexpr auto kPids = [] {
  std::array<PidLayout, catalogue_lines::kPids.size()> out{};
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = {catalogue_lines::kPids[i].pid, catalogue_lines::kPids[i].bytes};
  return out;
}();

constexpr auto kSignals = [] {
  std::array<SignalLayout, catalogue_lines::kSignals.size()> out{};
  for (std::size_t i = 0; i < out.size(); ++i) {
    const SignalEntry& line = catalogue_lines::kSignals[i];
    out[i] = {line.id, line.pid, line.first_byte, line.bytes, line.runs};
  }
  return out;
}();

}  // namespace

int data_bytes_of_pid(std::uint8_t pid) {
  for (const PidLayout& one : kPids)
    if (one.pid == pid) return one.bytes;
  return -1;
}

std::span<const SignalLayout> layout_of_pid(std::uint8_t pid) {
  std::size_t first = 0;
  while (first < kSignals.size() && kSignals[first].pid != pid) ++first;
  std::size_t last = first;
  while (last < kSignals.size() && kSignals[last].pid == pid) ++last;
  return std::span<const SignalLayout>(kSignals).subspan(first, last - first);
}

const SignalLayout* find_layout(SignalId id) {
  for (const SignalLayout& one : kSignals)
    if (one.id == id) return &one;
  return nullptr;
}

std::uint32_t word_mask_of(SignalId id) {
  const SignalLayout* layout = find_layout(id);
  return word_mask(layout ? layout->bytes : 4);
}

}  // namespace packmile
