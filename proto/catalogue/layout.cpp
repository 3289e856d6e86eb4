#include "catalogue/layout.hpp"

#include <array>

#include "catalogue/lines.hpp"

namespace packmile {
namespace {

struct PidLayout {
  std::uint8_t pid;
  std::uint8_t bytes;
  // Its signals in kSignals.
  std::uint8_t first_signal;
  std::uint8_t signals;
};

constexpr auto kSignals = [] {
  std::array<SignalLayout, catalogue_lines::kSignals.size()> out{};
  for (std::size_t i = 0; i < out.size(); ++i) {
    const SignalEntry& line = catalogue_lines::kSignals[i];
    out[i] = {line.id, line.pid, line.first_byte, line.bytes, line.runs};
  }
  return out;
}();

constexpr auto kPids = [] {
  std::array<PidLayout, catalogue_lines::kPids.size()> out{};
  for (std::size_t i = 0; i < out.size(); ++i) {
    PidLayout& one = out[i];
    one = {catalogue_lines::kPids[i].pid, catalogue_lines::kPids[i].bytes, 0, 0};
    while (one.first_signal < kSignals.size() && kSignals[one.first_signal].pid != one.pid)
      ++one.first_signal;
    std::size_t end = one.first_signal;
    while (end < kSignals.size() && kSignals[end].pid == one.pid) ++end;
    one.signals = static_cast<std::uint8_t>(end - one.first_signal);
  }
  return out;
}();

// Asked for every word of every answer: found without a search through the lines.
consteval bool ids_are_places() {
  for (std::size_t i = 0; i < kSignals.size(); ++i)
    if (kSignals[i].id != i + 1) return false;
  return true;
}
consteval bool signals_lie_together() {
  std::size_t placed = 0;
  for (const PidLayout& one : kPids) placed += one.signals;
  return placed == kSignals.size();
}
static_assert(ids_are_places() && signals_lie_together());

// Place of each PID in kPids; kNowhere: not in the catalogue. 256 bytes of flash
// instead of a search for each item of each answer.
constexpr std::uint8_t kNowhere = 0xFF;
constexpr auto kPlaces = [] {
  std::array<std::uint8_t, 256> out{};
  for (std::uint8_t& place : out) place = kNowhere;
  for (std::size_t i = 0; i < kPids.size(); ++i) out[kPids[i].pid] = static_cast<std::uint8_t>(i);
  return out;
}();

const PidLayout* find_pid_layout(std::uint8_t pid) {
  const std::uint8_t place = kPlaces[pid];
  return place == kNowhere ? nullptr : &kPids[place];
}

}  // namespace

int data_bytes_of_pid(std::uint8_t pid) {
  const PidLayout* layout = find_pid_layout(pid);
  return layout ? layout->bytes : -1;
}

std::span<const SignalLayout> layout_of_pid(std::uint8_t pid) {
  const PidLayout* layout = find_pid_layout(pid);
  if (!layout) return {};
  return std::span<const SignalLayout>(kSignals).subspan(layout->first_signal, layout->signals);
}

const SignalLayout* find_layout(SignalId id) {
  const std::size_t place = std::size_t{id} - 1;
  return place < kSignals.size() ? &kSignals[place] : nullptr;
}

std::uint32_t word_mask_of(SignalId id) {
  const SignalLayout* layout = find_layout(id);
  return word_mask(layout ? layout->bytes : 4);
}

}  // namespace packmile
