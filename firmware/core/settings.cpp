#include "core/settings.hpp"

#include "core/utf8.hpp"
#include "wire.hpp"

namespace packmile {
namespace {

bool read_period(std::uint64_t value, std::optional<std::uint32_t>& out) {
  if (value > kMaxPeriodMs) return false;
  out = static_cast<std::uint32_t>(value);
  return true;
}

// 0: what is in force when the settings say nothing.
bool read_deadline(std::uint64_t value, std::uint32_t usual_ms, std::uint32_t& out) {
  if (value == 0) value = usual_ms;
  if (value < kMinDeadlineMs || value > kMaxDeadlineMs) return false;
  out = static_cast<std::uint32_t>(value);
  return true;
}

SettingsOutcome read_fields(std::span<const std::uint8_t> message, LoggerSettings& out,
                            OwnersSignals& owners) {
  wire::Reader reader(message);
  wire::Field field;
  while (reader.next(field)) {
    const bool holds_bytes =
        field.number == wire::settings::van || field.number == wire::settings::owners_signal;
    const wire::Type wanted = holds_bytes ? wire::kBytes : wire::kVarint;
    if (field.number == 0 || field.number > wire::settings::owners_signal)
      return SettingsOutcome::unknown_field;
    if (field.type != wanted) return SettingsOutcome::wrong_type;
    switch (field.number) {
      case wire::settings::van:
        if (field.bytes.size() > kMaxVanNameBytes) return SettingsOutcome::name_too_long;
        // It goes out again in every session record.
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
        if (!read_period(field.value, out.driving_period_ms)) return SettingsOutcome::out_of_range;
        break;
      case wire::settings::charging_period_ms:
        if (!read_period(field.value, out.charging_period_ms)) return SettingsOutcome::out_of_range;
        break;
      case wire::settings::driving_deadline_ms:
        if (!read_deadline(field.value, kDrivingDeadlineMs, out.driving_deadline_ms))
          return SettingsOutcome::out_of_range;
        break;
      case wire::settings::charging_deadline_ms:
        if (!read_deadline(field.value, kChargingDeadlineMs, out.charging_deadline_ms))
          return SettingsOutcome::out_of_range;
        break;
      case wire::settings::battery:
        if (field.value > static_cast<std::uint64_t>(BatteryKind::lithium))
          return SettingsOutcome::out_of_range;
        out.battery = static_cast<BatteryKind>(field.value);
        break;
      case wire::settings::owners_signal:
        if (!owners.add(field.bytes)) return SettingsOutcome::bad_owners_signal;
        break;
    }
  }
  return reader.ok() ? SettingsOutcome::taken : SettingsOutcome::malformed;
}

SettingsOutcome read_record(std::span<const std::uint8_t> record, LoggerSettings& settings,
                            OwnersSignals& owners) {
  LoggerSettings read;
  bool seen = false;
  wire::Reader reader(record);
  wire::Field field;
  while (reader.next(field)) {
    if (field.number != wire::record::settings) return SettingsOutcome::unknown_field;
    if (field.type != wire::kBytes) return SettingsOutcome::wrong_type;
    const SettingsOutcome outcome = read_fields(field.bytes, read, owners);
    if (outcome != SettingsOutcome::taken) return outcome;
    seen = true;
  }
  if (!reader.ok()) return SettingsOutcome::malformed;
  if (!seen) return SettingsOutcome::no_settings;
  settings = read;
  return SettingsOutcome::taken;
}

}  // namespace

SettingsOutcome read_settings_record(std::span<const std::uint8_t> record, LoggerSettings& settings,
                                     OwnersSignals& owners) {
  owners.clear();
  const SettingsOutcome outcome = read_record(record, settings, owners);
  if (outcome != SettingsOutcome::taken) owners.clear();
  return outcome;
}

SettingsOutcome read_settings_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                     LoggerSettings& settings, OwnersSignals& owners,
                                     std::optional<SectorHeader>& header) {
  SectorHeader read;
  header.reset();
  owners.clear();
  if (read_sector(sector, read) != SectorVerdict::good || read.kind != SectorKind::settings)
    return SettingsOutcome::no_settings;
  header = read;
  return read_settings_record(sector_payload(sector, read), settings, owners);
}

}  // namespace packmile
