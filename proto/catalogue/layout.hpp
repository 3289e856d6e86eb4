// Where each word of the catalogue lies: all that a logger needs to know of it.
//
// Input     the lines of the catalogue; nothing is said twice.
// Pure      tables only; no heap, no I/O, no text, no floating point.
#pragma once
#include <cstddef>
#include <cstdint>
#include <span>

#include "catalogue/catalogue.hpp"

namespace packmile {

// As in SignalEntry.
struct SignalLayout {
  SignalId id;
  std::uint8_t pid;
  std::uint8_t first_byte;
  std::uint8_t bytes;
  bool runs;
};

// Data bytes of a PID, 0 where nobody knows; -1: not in the catalogue.
[[nodiscard]] int data_bytes_of_pid(std::uint8_t pid);
// The signals inside one PID, in order of their ids; empty: none known.
[[nodiscard]] std::span<const SignalLayout> layout_of_pid(std::uint8_t pid);
// nullptr: not in the catalogue.
[[nodiscard]] const SignalLayout* find_layout(SignalId id);

}  // namespace packmile
