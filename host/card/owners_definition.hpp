// A signal that the owner of a van has defined, in plain terms: as fleet.toml
// gives it, as the settings of a card and its session records carry it.
//
// Standard  packmile.OwnersSignal in packmile.proto; the limits of
//           owners_signal.hpp; ISO 14229-1 service 22.
// Rule      a definition that breaks a rule of packmile.proto is none: a logger
//           refuses settings that hold one.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "catalogue/catalogue.hpp"
#include "owners_signal.hpp"

namespace packmile {

class OwnersSignal;  // packmile.proto

struct OwnersDefinition {
  SignalRole role = SignalRole::none;
  std::string name{};            // [a-z][a-z0-9_]* from fleet.toml; any bytes from a card
  std::uint32_t request_id = 0;  // physical: 7E0..7E7, or 18DAxxF1
  std::uint16_t did = 0;
  std::uint8_t first_byte = 0;  // behind the echo of the identifier
  std::uint8_t bytes = 1;       // 1 to 4
  std::uint8_t first_bit = 0;   // within the word, 0 is the least significant
  std::uint8_t bits = 8;        // that count; never 0
  bool little_endian = false;
  bool is_signed = false;
  double scale = 1;  // value = word (two's complement if signed) * scale + offset
  double offset = 0;
  std::string unit{};
  std::uint32_t period_ms = 0;  // while driving; 0: the logger's own

  bool operator==(const OwnersDefinition&) const = default;
};

// As in fleet.toml: "pack_v", ..., "none".
[[nodiscard]] std::string_view name_of(SignalRole role);
[[nodiscard]] std::optional<SignalRole> find_role(std::string_view name);
// The unit that values of a role must have; empty: the definition says it.
[[nodiscard]] std::string_view unit_of(SignalRole role);

// The same value in codes of the standard signal, for a logger without floating
// point: code = value * scale_q16 / 65536 + offset. Zeros for a role that the
// logger has no use for.
struct StandardCodes {
  std::int32_t scale_q16 = 0;
  std::int32_t offset = 0;
};
// The step of such a code, in the unit of the role; 0: the role has none.
[[nodiscard]] double code_step_of(SignalRole role);
// Absent: too large for the numbers, or so small that they lose the value.
[[nodiscard]] std::optional<StandardCodes> standard_codes_of(SignalRole role, double scale,
                                                             double offset);

// Bit `bit` of the word lies in this bit of the answer's data, counted from the
// least significant of byte 0. `bit` from first_bit to first_bit + bits - 1.
[[nodiscard]] std::uint32_t data_bit_of(const OwnersDefinition& definition, std::uint32_t bit);

// The value of a word as samples carry it, in the definition's unit.
[[nodiscard]] double value_of(const OwnersDefinition& definition, std::uint32_t word);
// The same as whole steps of the scale, before scale and offset.
[[nodiscard]] std::int64_t steps_of(const OwnersDefinition& definition, std::uint32_t word);
// The id of the ECU's answers. 0: request_id is none of a physical request.
[[nodiscard]] std::uint32_t response_id_of(const OwnersDefinition& definition);
// The two say the same of a word; they may have another name or period.
[[nodiscard]] bool mean_the_same(const OwnersDefinition& a, const OwnersDefinition& b);

// "0", "1..2": the bytes of the answer's data.
[[nodiscard]] std::string bytes_text(const OwnersDefinition& definition);
// An id in capital hexadecimal: "7E4", "18DA10F1".
[[nodiscard]] std::string hex_text(std::uint32_t number, int digits = 1);

// `index`: place in the list of the settings; the id is 1000 + index.
void put_definition(const OwnersDefinition& definition, std::size_t index, OwnersSignal& message);
// Absent: the message breaks a rule, or has a field that is not known.
[[nodiscard]] std::optional<OwnersDefinition> definition_of(const OwnersSignal& message);

}  // namespace packmile
