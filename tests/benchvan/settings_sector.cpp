#include "benchvan/settings_sector.hpp"

#include "packmile.pb.h"

namespace packmile::benchvan {
namespace {

std::optional<SectorBytes> seal(const Record& record, SectorHeader header) {
  SectorBytes sector{};
  const std::size_t size = record.ByteSizeLong();
  if (size > kSectorPayloadBytes) return std::nullopt;
  if (!record.SerializeToArray(sector.data() + kSectorHeaderBytes, static_cast<int>(size))) {
    return std::nullopt;
  }
  header.kind = SectorKind::settings;
  header.payload_bytes = static_cast<std::uint16_t>(size);
  seal_sector(sector, header);
  return sector;
}

void put_period(Settings& settings, std::optional<std::uint32_t> poll_period_ms) {
  settings.clear_driving_period_ms();
  settings.clear_charging_period_ms();
  if (!poll_period_ms) return;
  settings.set_driving_period_ms(*poll_period_ms);
  settings.set_charging_period_ms(*poll_period_ms);
}

// Ids of owner's signals: this and up, in the order of the list.
constexpr std::uint32_t kFirstOwnersId = 1000;

void put_field(Settings& settings, const OwnersField& field) {
  OwnersSignal& signal = *settings.add_owners_signal();
  signal.set_id(kFirstOwnersId + static_cast<std::uint32_t>(settings.owners_signal_size() - 1));
  signal.set_request_id(field.request_id);
  signal.set_did(field.did);
  signal.set_first_byte(field.first_byte);
  signal.set_bytes(field.bytes);
  signal.set_first_bit(field.first_bit);
  signal.set_bits(field.bits);
  signal.set_little_endian(field.little_endian);
  signal.set_is_signed(field.is_signed);
  signal.set_period_ms(field.period_ms);
  signal.set_role(static_cast<Role>(field.role));
  signal.set_scale(field.scale);
  signal.set_offset(field.offset);
  signal.set_name(field.name);
  signal.set_unit(field.unit);
  const StandardCodes codes = standard_codes_of(field);
  signal.set_code_scale_q16(codes.scale_q16);
  signal.set_code_offset(codes.offset);
}

OwnersField field_of(const OwnersSignal& signal) {
  const auto role = static_cast<std::uint32_t>(signal.role());
  return {.role = role < kFieldRoles ? static_cast<FieldRole>(role) : FieldRole::none,
          .name = signal.name(),
          .request_id = signal.request_id(),
          .did = signal.did(),
          .first_byte = signal.first_byte(),
          .bytes = signal.bytes(),
          .first_bit = signal.first_bit(),
          .bits = signal.bits(),
          .little_endian = signal.little_endian(),
          .is_signed = signal.is_signed(),
          .scale = signal.scale(),
          .offset = signal.offset(),
          .unit = signal.unit(),
          .period_ms = signal.period_ms()};
}

// Absent: not a good settings sector.
std::optional<Record> record_in(const SectorBytes& sector, SectorHeader& header) {
  if (read_sector(sector, header) != SectorVerdict::good || header.kind != SectorKind::settings) {
    return std::nullopt;
  }
  const auto payload = sector_payload(sector, header);
  Record record;
  if (!record.ParseFromArray(payload.data(), static_cast<int>(payload.size())) ||
      !record.has_settings()) {
    return std::nullopt;
  }
  return record;
}

}  // namespace

std::optional<SectorBytes> make_settings_sector(std::uint32_t log_id, std::uint32_t ring_sectors,
                                                const CardSettings& settings) {
  Record record;
  record.mutable_settings()->set_van(settings.van);
  record.mutable_settings()->set_prepared_unix_ms(settings.prepared_unix_ms);
  put_period(*record.mutable_settings(), settings.poll_period_ms);
  for (const OwnersField& field : settings.fields) put_field(*record.mutable_settings(), field);
  SectorHeader header;
  header.log_id = log_id;
  header.ring_sectors = ring_sectors;
  return seal(record, header);
}

std::optional<SectorBytes> with_poll_period(const SectorBytes& sector,
                                            std::optional<std::uint32_t> poll_period_ms) {
  SectorHeader header;
  std::optional<Record> record = record_in(sector, header);
  if (!record) return std::nullopt;
  put_period(*record->mutable_settings(), poll_period_ms);
  return seal(*record, header);
}

std::optional<std::vector<OwnersField>> fields_in(const SectorBytes& sector) {
  SectorHeader header;
  const std::optional<Record> record = record_in(sector, header);
  if (!record) return std::nullopt;
  std::vector<OwnersField> fields;
  for (const OwnersSignal& signal : record->settings().owners_signal())
    fields.push_back(field_of(signal));
  return fields;
}

}  // namespace packmile::benchvan
