#include "card/owners_definition.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <limits>

#include "obd_address.hpp"
#include "packmile.pb.h"

namespace packmile {
namespace {

struct RoleEntry {
  SignalRole role;
  std::string_view name;
  std::string_view unit;
};

constexpr std::array kRoles{
    RoleEntry{SignalRole::none, "none", ""},
    RoleEntry{SignalRole::pack_v, "pack_v", "V"},
    RoleEntry{SignalRole::pack_a, "pack_a", "A"},
    RoleEntry{SignalRole::soc, "soc", "%"},
    RoleEntry{SignalRole::odometer, "odometer", "km"},
    RoleEntry{SignalRole::speed, "speed", "km/h"},
    RoleEntry{SignalRole::pack_temp, "pack_temp", "degC"},
    RoleEntry{SignalRole::charger_state, "charger_state", "code"},
    // Ah or kWh: the definition says which.
    RoleEntry{SignalRole::reported_capacity, "reported_capacity", ""},
};
static_assert(kRoles.size() == static_cast<std::size_t>(kLastRole) + 1);

constexpr double kOneQ16 = 65536;
// Fewer steps than these would lose more than one part in twenty of the value.
// Common practice, no source.
constexpr double kFewestQ16 = 10;
constexpr std::uint32_t kBitsInAByte = 8;

const RoleEntry& entry_of(SignalRole role) { return kRoles[static_cast<std::size_t>(role)]; }

}  // namespace

std::string_view name_of(SignalRole role) { return entry_of(role).name; }
std::string_view unit_of(SignalRole role) { return entry_of(role).unit; }

std::optional<SignalRole> find_role(std::string_view name) {
  for (const RoleEntry& entry : kRoles)
    if (entry.name == name) return entry.role;
  return std::nullopt;
}

double code_step_of(SignalRole role) {
  switch (role) {
    case SignalRole::pack_a:
    case SignalRole::soc:
    case SignalRole::odometer:
    case SignalRole::speed:
      return find_signal(standard_signal_of(role))->scale;
    case SignalRole::none:
    case SignalRole::pack_v:
    case SignalRole::pack_temp:
    case SignalRole::charger_state:
    case SignalRole::reported_capacity:
      return 0;
  }
  return 0;
}

std::optional<StandardCodes> standard_codes_of(SignalRole role, double scale, double offset) {
  const double step = code_step_of(role);
  if (step == 0) return StandardCodes{};
  constexpr double kLargest = std::numeric_limits<std::int32_t>::max();
  const double scale_q16 = std::round(scale * kOneQ16 / step);
  const double codes = std::round(offset / step);
  // Written so that what is not a number fails, too.
  if (!(std::abs(scale_q16) >= kFewestQ16 && std::abs(scale_q16) <= kLargest &&
        std::abs(codes) <= kLargest))
    return std::nullopt;
  return StandardCodes{static_cast<std::int32_t>(scale_q16), static_cast<std::int32_t>(codes)};
}

std::uint32_t data_bit_of(const OwnersDefinition& definition, std::uint32_t bit) {
  const std::uint32_t from_least = bit / kBitsInAByte;
  const std::uint32_t byte =
      definition.first_byte +
      (definition.little_endian ? from_least : definition.bytes - 1u - from_least);
  return byte * kBitsInAByte + bit % kBitsInAByte;
}

std::int64_t steps_of(const OwnersDefinition& definition, std::uint32_t word) {
  const std::uint64_t span = std::uint64_t{1} << definition.bits;
  const std::uint64_t kept = word & (span - 1);
  const bool negative = definition.is_signed && kept >= span / 2;
  return static_cast<std::int64_t>(kept) - (negative ? static_cast<std::int64_t>(span) : 0);
}

double value_of(const OwnersDefinition& definition, std::uint32_t word) {
  return static_cast<double>(steps_of(definition, word)) * definition.scale + definition.offset;
}

std::uint32_t response_id_of(const OwnersDefinition& definition) {
  const std::uint32_t id = definition.request_id;
  const bool extended = is_extended_id(id);
  return ecu_of_request_id(id, extended) ? response_id_of(id, extended) : 0;
}

bool mean_the_same(const OwnersDefinition& a, const OwnersDefinition& b) {
  OwnersDefinition twin = b;
  twin.name = a.name;
  twin.period_ms = a.period_ms;
  return a == twin;
}

std::string bytes_text(const OwnersDefinition& definition) {
  const std::string first = std::to_string(definition.first_byte);
  if (definition.bytes == 1) return first;
  return first + ".." + std::to_string(definition.first_byte + definition.bytes - 1);
}

std::string hex_text(std::uint32_t number, int digits) {
  char text[12];
  std::snprintf(text, sizeof text, "%0*X", digits, number);
  return text;
}

void put_definition(const OwnersDefinition& definition, std::size_t index, OwnersSignal& message) {
  message.set_id(kFirstOwnersSignal + static_cast<std::uint32_t>(index));
  message.set_request_id(definition.request_id);
  message.set_did(definition.did);
  message.set_first_byte(definition.first_byte);
  message.set_bytes(definition.bytes);
  message.set_first_bit(definition.first_bit);
  // Each byte of the sector counts: all of the word is what the absent field says.
  if (definition.bits != definition.bytes * kBitsInAByte) message.set_bits(definition.bits);
  message.set_little_endian(definition.little_endian);
  message.set_is_signed(definition.is_signed);
  message.set_period_ms(definition.period_ms);
  message.set_role(static_cast<Role>(definition.role));
  message.set_scale(definition.scale);
  message.set_offset(definition.offset);
  message.set_name(definition.name);
  message.set_unit(definition.unit);
  const auto codes = standard_codes_of(definition.role, definition.scale, definition.offset);
  message.set_code_scale_q16(codes ? codes->scale_q16 : 0);
  message.set_code_offset(codes ? codes->offset : 0);
}

std::optional<OwnersDefinition> definition_of(const OwnersSignal& message) {
  const std::uint32_t id = message.id();
  const std::uint32_t request_id = message.request_id();
  const std::uint32_t word_bits = message.bytes() > 4 ? 0 : message.bytes() * kBitsInAByte;
  if (!message.GetReflection()->GetUnknownFields(message).empty() || id < kFirstOwnersSignal ||
      id >= kFirstOwnersSignal + kMaxOwnersSignals ||
      message.ByteSizeLong() > kMaxOwnersMessageBytes ||
      !ecu_of_request_id(request_id, is_extended_id(request_id)) || message.did() == 0 ||
      message.did() > 0xFFFF || word_bits == 0 ||
      message.first_byte() > kMaxOwnersDataBytes - message.bytes() ||
      message.first_bit() >= word_bits || message.bits() > word_bits - message.first_bit() ||
      (message.period_ms() != 0 &&
       (message.period_ms() < kMinOwnersPeriodMs || message.period_ms() > kMaxOwnersPeriodMs)) ||
      message.role() < 0 || message.role() > static_cast<int>(kLastRole) ||
      message.name().size() > kMaxOwnersNameBytes || message.unit().size() > kMaxOwnersUnitBytes ||
      !std::isfinite(message.scale()) || !std::isfinite(message.offset()) || message.scale() == 0)
    return std::nullopt;
  OwnersDefinition out;
  out.role = static_cast<SignalRole>(message.role());
  out.name = message.name();
  out.request_id = request_id;
  out.did = static_cast<std::uint16_t>(message.did());
  out.first_byte = static_cast<std::uint8_t>(message.first_byte());
  out.bytes = static_cast<std::uint8_t>(message.bytes());
  out.first_bit = static_cast<std::uint8_t>(message.first_bit());
  out.bits = static_cast<std::uint8_t>(message.bits() == 0 ? word_bits - message.first_bit()
                                                           : message.bits());
  out.little_endian = message.little_endian();
  out.is_signed = message.is_signed();
  out.scale = message.scale();
  out.offset = message.offset();
  out.unit = message.unit();
  out.period_ms = message.period_ms();
  return out;
}

}  // namespace packmile
