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

}  // namespace

std::optional<SectorBytes> make_settings_sector(std::uint32_t log_id, std::uint32_t ring_sectors,
                                                const CardSettings& settings) {
  Record record;
  record.mutable_settings()->set_van(settings.van);
  record.mutable_settings()->set_prepared_unix_ms(settings.prepared_unix_ms);
  put_period(*record.mutable_settings(), settings.poll_period_ms);
  SectorHeader header;
  header.log_id = log_id;
  header.ring_sectors = ring_sectors;
  return seal(record, header);
}

std::optional<SectorBytes> with_poll_period(const SectorBytes& sector,
                                            std::optional<std::uint32_t> poll_period_ms) {
  SectorHeader header;
  if (read_sector(sector, header) != SectorVerdict::good || header.kind != SectorKind::settings) {
    return std::nullopt;
  }
  const auto payload = sector_payload(sector, header);
  Record record;
  if (!record.ParseFromArray(payload.data(), static_cast<int>(payload.size())) ||
      !record.has_settings()) {
    return std::nullopt;
  }
  put_period(*record.mutable_settings(), poll_period_ms);
  return seal(record, header);
}

}  // namespace packmile::benchvan
