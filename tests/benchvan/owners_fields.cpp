#include "benchvan/owners_fields.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "benchvan/pack_model.hpp"

namespace packmile::benchvan {
namespace {

constexpr std::array<std::string_view, kFieldRoles> kRoleNames{
    "none",      "pack_v",        "pack_a",           "soc", "odometer", "speed",
    "pack_temp", "charger_state", "reported_capacity"};

// Current that flows into a standing van's pack: it is being charged.
constexpr double kChargingA = -0.5;
constexpr double kChargingState = 2;
// Length of an answer that the logger takes, without 62 and the identifier.
constexpr unsigned kMaxDataBytes = 157;

unsigned bits_of(const OwnersField& field) {
  return field.bits != 0 ? field.bits : 8 * field.bytes - field.first_bit;
}

bool is_request_id(std::uint32_t id) {
  return (id >= 0x7E0 && id <= 0x7E7) || (id & 0xFFFF00FFu) == 0x18DA00F1u;
}

}  // namespace

std::string_view role_name(FieldRole role) { return kRoleNames[static_cast<std::size_t>(role)]; }

std::string field_trouble(const OwnersField& field) {
  if (!is_request_id(field.request_id))
    return fmt::format("request id {:X} is no ECU's", field.request_id);
  if (field.did > 0xFFFF) return fmt::format("identifier {:X} is too long", field.did);
  if (field.did == 0xF190 || field.did >> 8 == 0xF4)
    return fmt::format("identifier {:04X} is a standard one", field.did);
  if (field.bytes < 1 || field.bytes > 4) return fmt::format("{} bytes", field.bytes);
  if (field.first_byte > kMaxDataBytes - field.bytes)
    return fmt::format("first byte {}", field.first_byte);
  if (field.first_bit >= 8 * field.bytes || field.bits > 8 * field.bytes - field.first_bit)
    return fmt::format("{} bits from bit {} of {} bytes", field.bits, field.first_bit, field.bytes);
  if (!std::isfinite(field.scale) || field.scale == 0 || !std::isfinite(field.offset))
    return fmt::format("scale {}, offset {}", field.scale, field.offset);
  return {};
}

std::uint32_t word_of(const OwnersField& field, double value) {
  const unsigned bits = bits_of(field);
  const double lowest = field.is_signed ? -std::ldexp(1.0, static_cast<int>(bits) - 1) : 0.0;
  const double highest = lowest + std::ldexp(1.0, static_cast<int>(bits)) - 1;
  double code = (value - field.offset) / field.scale;
  if (field.role == FieldRole::soc || field.role == FieldRole::odometer) {
    // The push keeps a value that is exactly on a code from falling to the one
    // below by the last bits of its double.
    code = field.scale > 0 ? std::floor(code + 1e-6) : std::ceil(code - 1e-6);
  } else {
    code = std::round(code);
  }
  const auto word = static_cast<std::int64_t>(std::clamp(code, lowest, highest));
  const std::uint64_t mask = (std::uint64_t{1} << bits) - 1;
  return static_cast<std::uint32_t>(static_cast<std::uint64_t>(word) & mask);
}

void put_field(const OwnersField& field, std::uint32_t word, std::span<std::uint8_t> data) {
  const std::uint64_t shifted = std::uint64_t{word} << field.first_bit;
  for (unsigned i = 0; i < field.bytes; ++i) {
    // From the least significant byte on.
    const unsigned place = field.little_endian ? i : field.bytes - 1 - i;
    data[field.first_byte + place] |= static_cast<std::uint8_t>(shifted >> (8 * i));
  }
}

std::optional<Quantity> quantity_of(const OwnersField& field) {
  switch (field.role) {
    case FieldRole::pack_v:
      return Quantity::pack_v;
    case FieldRole::pack_a:
      return Quantity::pack_a;
    case FieldRole::soc:
      return Quantity::soc_pct;
    case FieldRole::odometer:
      return Quantity::odometer_km;
    case FieldRole::speed:
      return Quantity::speed_kmh;
    case FieldRole::none:
      return quantity_named(field.name);
    case FieldRole::pack_temp:
    case FieldRole::charger_state:
    case FieldRole::reported_capacity:
      return std::nullopt;
  }
  return std::nullopt;
}

std::optional<double> value_of(const OwnersField& field, const Moment& moment,
                               bool discharge_negative) {
  switch (field.role) {
    case FieldRole::pack_a: {
      const std::optional<double> pack_a = moment.get(Quantity::pack_a);
      return pack_a && discharge_negative ? std::optional(-*pack_a) : pack_a;
    }
    case FieldRole::pack_temp:
      return moment.get(Quantity::pack_temp_c);
    case FieldRole::charger_state: {
      const bool stands = moment.get(Quantity::speed_kmh).value_or(0.0) < 1.0;
      const bool charging = moment.get(Quantity::pack_a).value_or(0.0) < kChargingA;
      return stands && charging ? kChargingState : 0.0;
    }
    case FieldRole::reported_capacity:
      return field.unit == "kWh" ? kNominalKwh : kNominalAh;
    case FieldRole::none:
    case FieldRole::pack_v:
    case FieldRole::soc:
    case FieldRole::odometer:
    case FieldRole::speed: {
      const std::optional<Quantity> quantity = quantity_of(field);
      return quantity ? moment.get(*quantity) : 0.0;
    }
  }
  return std::nullopt;
}

std::vector<OwnersField> benchs_own_fields(bool apart, bool extended_ids) {
  // All of it is invented: no van's identifiers, and chosen to differ from PID 9A
  // in scale, sign, place and order of bytes.
  const auto ecu = [extended_ids](unsigned number) {
    return extended_ids ? 0x18DA00F1u | ((0x10u + number) << 8) : 0x7E0u + number;
  };
  const std::uint32_t battery = ecu(4);
  const std::uint32_t vehicle = ecu(0);
  const std::uint32_t current_did = apart ? 0xD002 : 0xD001;
  std::vector<OwnersField> fields{
      {.role = FieldRole::pack_v,
       .request_id = battery,
       .did = 0xD001,
       .first_byte = 1,
       .bytes = 2,
       .scale = 0.05,
       .unit = "V"},
      {.role = FieldRole::pack_a,
       .request_id = battery,
       .did = current_did,
       .first_byte = apart ? 0u : 3u,
       .bytes = 2,
       .little_endian = true,
       .is_signed = true,
       .scale = 0.02,
       .unit = "A"},
      {.role = FieldRole::charger_state,
       .request_id = battery,
       .did = 0xD001,
       .bytes = 1,
       .first_bit = 3,
       .bits = 2,
       .unit = "code"},
      {.role = FieldRole::soc,
       .request_id = battery,
       .did = 0xD003,
       .bytes = 2,
       .scale = 0.1,
       .unit = "%"},
      {.role = FieldRole::reported_capacity,
       .request_id = battery,
       .did = 0xD003,
       .first_byte = 2,
       .bytes = 2,
       .little_endian = true,
       .scale = 0.1,
       .unit = "Ah"},
      {.role = FieldRole::pack_temp,
       .request_id = battery,
       .did = 0xD004,
       .bytes = 1,
       .scale = 0.5,
       .offset = -80,
       .unit = "degC"},
      {.role = FieldRole::speed,
       .request_id = vehicle,
       .did = 0xD011,
       .bytes = 2,
       .scale = 0.01,
       .unit = "km/h"},
      {.role = FieldRole::odometer,
       .request_id = vehicle,
       .did = 0xD012,
       .bytes = 4,
       .little_endian = true,
       .scale = 0.01,
       .unit = "km"},
  };
  for (OwnersField& field : fields) field.name = role_name(field.role);
  return fields;
}

std::string fleet_toml_of(std::span<const OwnersField> fields, std::string_view van) {
  std::string text;
  for (const OwnersField& field : fields) {
    text += fmt::format(
        "[[signal]]\nrole = \"{}\"\nvans = [\"{}\"]\necu = 0x{:X}\ndid = 0x{:04X}\n"
        "first_byte = {}\nbytes = {}\nfirst_bit = {}\n",
        role_name(field.role), van, field.request_id, field.did, field.first_byte, field.bytes,
        field.first_bit);
    if (field.bits != 0) text += fmt::format("bits = {}\n", field.bits);
    text +=
        fmt::format("byte_order = \"{}\"\nsigned = {}\nscale = {}\noffset = {}\nunit = \"{}\"\n",
                    field.little_endian ? "little" : "big", field.is_signed, field.scale,
                    field.offset, field.unit);
    if (field.period_ms != 0) text += fmt::format("period_ms = {}\n", field.period_ms);
    text += '\n';
  }
  return text;
}

StandardCodes standard_codes_of(const OwnersField& field) {
  double unit_of_code = 0;
  switch (field.role) {
    case FieldRole::soc:
      unit_of_code = 100.0 / 255.0;
      break;
    case FieldRole::odometer:
    case FieldRole::pack_a:
      unit_of_code = 0.1;
      break;
    case FieldRole::speed:
      unit_of_code = 1;
      break;
    case FieldRole::none:
    case FieldRole::pack_v:
    case FieldRole::pack_temp:
    case FieldRole::charger_state:
    case FieldRole::reported_capacity:
      return {};
  }
  return {.scale_q16 = static_cast<std::int32_t>(std::lround(field.scale * 65536 / unit_of_code)),
          .offset = static_cast<std::int32_t>(std::lround(field.offset / unit_of_code))};
}

}  // namespace packmile::benchvan
