// Signals that only this van's own data identifiers carry: where they lie in the
// answer to service 22, and how the bench writes a value there.
//
// Standard  ISO 14229-1 service 22. Everything else about such an identifier is
//           the maker's: what the bench calls its own is invented, and no real
//           van's.
// Word      the bytes of a field, shifted right by first_bit, of which the lowest
//           `bits` count; value = word (two's complement if signed) * scale +
//           offset.
// Rounding  to the nearest code; state of charge and odometer are cut down; what
//           does not fit saturates at both ends, never wraps.
// Pure      no heap but in the list.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "benchvan/moment.hpp"

namespace packmile::benchvan {

// What a field means; numbers as on the card.
enum class FieldRole : std::uint8_t {
  none = 0,
  pack_v = 1,
  pack_a = 2,
  soc = 3,
  odometer = 4,
  speed = 5,
  pack_temp = 6,
  charger_state = 7,
  reported_capacity = 8
};
inline constexpr std::size_t kFieldRoles = 9;

// As in fleet.toml: "pack_v", ...
[[nodiscard]] std::string_view role_name(FieldRole role);

struct OwnersField {
  FieldRole role = FieldRole::none;
  std::string name{};            // of a field without a role: a quantity, or it is 0
  std::uint32_t request_id = 0;  // 7E0..7E7, or 18DAxxF1
  std::uint32_t did = 0;
  unsigned first_byte = 0;
  unsigned bytes = 1;      // 1 to 4
  unsigned first_bit = 0;  // within the word
  unsigned bits = 0;       // 0: all of the word
  bool little_endian = false;
  bool is_signed = false;
  double scale = 1;
  double offset = 0;
  std::string unit{};
  std::uint32_t period_ms = 0;  // 0: the logger's own
};

// What is wrong with a field that cannot be played; "": nothing.
[[nodiscard]] std::string field_trouble(const OwnersField& field);

// The word of a value, cut to the field's bits.
[[nodiscard]] std::uint32_t word_of(const OwnersField& field, double value);
// ORs a word into the data of its identifier; `data` must reach that far.
void put_field(const OwnersField& field, std::uint32_t word, std::span<std::uint8_t> data);

// The sensor whose value a field carries; absent: none, it is made up here.
[[nodiscard]] std::optional<Quantity> quantity_of(const OwnersField& field);
// The field's value at this moment. Absent: its sensor shows nothing.
//   charger_state      2 while the pack takes more than 0.5 A at standstill, else 0
//   reported_capacity  a constant, Ah or kWh by the field's unit
//   none               what its name says, if that is a quantity; else 0
[[nodiscard]] std::optional<double> value_of(const OwnersField& field, const Moment& moment,
                                             bool discharge_negative);

// What a bench van knows that was not given anything else to know: invented.
// `apart`: pack voltage and current in two identifiers, else in one.
[[nodiscard]] std::vector<OwnersField> benchs_own_fields(bool apart, bool extended_ids);

// The same as [[signal]] blocks for fleet.toml.
[[nodiscard]] std::string fleet_toml_of(std::span<const OwnersField> fields, std::string_view van);

// The scale and offset with which a logger without floating point gets codes of
// the standard signal from a field's value: code = value * scale_q16 / 65536 +
// offset. Zeros for a role for which it has no use of them.
struct StandardCodes {
  std::int32_t scale_q16 = 0;
  std::int32_t offset = 0;
};
[[nodiscard]] StandardCodes standard_codes_of(const OwnersField& field);

}  // namespace packmile::benchvan
