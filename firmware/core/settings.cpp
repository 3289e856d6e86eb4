#include "core/settings.hpp"

#include "wire.hpp"

namespace packmile {
namespace {

// RFC 3629: no overlong forms, no surrogates, nothing above 10FFFF. The name
// goes out again in every session record, and a protobuf reader refuses a
// record whose string is not UTF-8.
bool is_utf8(std::span<const std::uint8_t> text) {
  std::size_t i = 0;
  while (i < text.size()) {
    const std::uint8_t lead = text[i++];
    if (lead < 0x80) continue;
    std::size_t more = 0;
    std::uint32_t smallest = 0;
    std::uint32_t code = 0;
    if (lead >> 5 == 0x06) {
      more = 1;
      smallest = 0x80;
      code = lead & 0x1Fu;
    } else if (lead >> 4 == 0x0E) {
      more = 2;
      smallest = 0x800;
      code = lead & 0x0Fu;
    } else if (lead >> 3 == 0x1E) {
      more = 3;
      smallest = 0x10000;
      code = lead & 0x07u;
    } else {
      return false;
    }
    if (text.size() - i < more) return false;
    for (; more != 0; --more) {
      const std::uint8_t next = text[i++];
      if (next >> 6 != 0x02) return false;
      code = code << 6 | (next & 0x3Fu);
    }
    if (code < smallest || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) return false;
  }
  return true;
}

bool read_bounded(std::uint64_t value, std::uint32_t low, std::uint32_t high, std::uint32_t& out) {
  if (value < low || value > high) return false;
  out = static_cast<std::uint32_t>(value);
  return true;
}

SettingsOutcome read_fields(std::span<const std::uint8_t> message, LoggerSettings& out) {
  wire::Reader reader(message);
  wire::Field field;
  while (reader.next(field)) {
    const wire::Type wanted = field.number == wire::settings::van ? wire::kBytes : wire::kVarint;
    if (field.number == 0 || field.number > wire::settings::battery)
      return SettingsOutcome::unknown_field;
    if (field.type != wanted) return SettingsOutcome::wrong_type;
    std::uint32_t bounded = 0;
    switch (field.number) {
      case wire::settings::van:
        if (field.bytes.size() > kMaxVanNameBytes) return SettingsOutcome::name_too_long;
        if (!is_utf8(field.bytes)) return SettingsOutcome::malformed;
        out.van = {};
        for (std::size_t i = 0; i < field.bytes.size(); ++i)
          out.van[i] = static_cast<char>(field.bytes[i]);
        out.van_bytes = static_cast<std::uint8_t>(field.bytes.size());
        break;
      case wire::settings::prepared_unix_ms:
        out.prepared_unix_ms = field.value;
        break;
      case wire::settings::driving_period_ms:
        if (!read_bounded(field.value, 0, kMaxPeriodMs, bounded))
          return SettingsOutcome::out_of_range;
        out.driving_period_ms = bounded;
        break;
      case wire::settings::charging_period_ms:
        if (!read_bounded(field.value, 0, kMaxPeriodMs, bounded))
          return SettingsOutcome::out_of_range;
        out.charging_period_ms = bounded;
        break;
      case wire::settings::driving_deadline_ms:
        if (field.value != 0 && !read_bounded(field.value, kMinDeadlineMs, kMaxDeadlineMs, bounded))
          return SettingsOutcome::out_of_range;
        out.driving_deadline_ms = field.value == 0 ? kDrivingDeadlineMs : bounded;
        break;
      case wire::settings::charging_deadline_ms:
        if (field.value != 0 && !read_bounded(field.value, kMinDeadlineMs, kMaxDeadlineMs, bounded))
          return SettingsOutcome::out_of_range;
        out.charging_deadline_ms = field.value == 0 ? kChargingDeadlineMs : bounded;
        break;
      case wire::settings::battery:
        if (field.value > static_cast<std::uint64_t>(BatteryKind::lithium))
          return SettingsOutcome::out_of_range;
        out.battery = static_cast<BatteryKind>(field.value);
        break;
    }
  }
  return reader.ok() ? SettingsOutcome::taken : SettingsOutcome::malformed;
}

}  // namespace

SettingsOutcome read_settings_record(std::span<const std::uint8_t> record,
                                     LoggerSettings& settings) {
  LoggerSettings read;
  bool seen = false;
  wire::Reader reader(record);
  wire::Field field;
  while (reader.next(field)) {
    if (field.number != wire::record::settings) return SettingsOutcome::unknown_field;
    if (field.type != wire::kBytes) return SettingsOutcome::wrong_type;
    const SettingsOutcome outcome = read_fields(field.bytes, read);
    if (outcome != SettingsOutcome::taken) return outcome;
    seen = true;
  }
  if (!reader.ok()) return SettingsOutcome::malformed;
  if (!seen) return SettingsOutcome::no_settings;
  settings = read;
  return SettingsOutcome::taken;
}

SettingsOutcome read_settings_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                     LoggerSettings& settings,
                                     std::optional<SectorHeader>& header) {
  SectorHeader read;
  header.reset();
  if (read_sector(sector, read) != SectorVerdict::good || read.kind != SectorKind::settings)
    return SettingsOutcome::no_settings;
  header = read;
  return read_settings_record(sector_payload(sector, read), settings);
}

}  // namespace packmile
