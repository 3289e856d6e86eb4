// The settings sector as the logger reads it, against libprotobuf: what the core
// takes, libprotobuf reads to the same values.
//
// Input  a settings record; the same bytes are tried as a record, as a sector
//        that they are the beginning of, and as the payload of a good sector.
#include <algorithm>
#include <array>
#include <string>

#include "core/settings.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "packmile.pb.h"

namespace packmile::fuzz {
namespace {

void compare(Input bytes, const LoggerSettings& read) {
  Record record;
  must(record.ParseFromArray(bytes.data(), static_cast<int>(bytes.size())),
       "libprotobuf reads the settings that the logger takes");
  must(record.has_settings(), "settings were there");
  const Settings& plain = record.settings();
  must(plain.van() == std::string(read.van.data(), read.van_bytes), "the same van");
  must(plain.prepared_unix_ms() == read.prepared_unix_ms, "the same clock");
  must(plain.has_driving_period_ms() == read.driving_period_ms.has_value() &&
           plain.driving_period_ms() == read.driving_period_ms.value_or(0),
       "the same period of driving");
  must(plain.has_charging_period_ms() == read.charging_period_ms.has_value() &&
           plain.charging_period_ms() == read.charging_period_ms.value_or(0),
       "the same period of charging");
  const auto deadline = [](std::uint32_t given, std::uint32_t otherwise) {
    return given == 0 ? otherwise : given;
  };
  must(deadline(plain.driving_deadline_ms(), kDrivingDeadlineMs) == read.driving_deadline_ms,
       "the same deadline of driving");
  must(deadline(plain.charging_deadline_ms(), kChargingDeadlineMs) == read.charging_deadline_ms,
       "the same deadline of charging");
  must(plain.battery() == static_cast<int>(read.battery), "the same battery");
  // Written again from its known fields alone, it is as long as before: there was
  // nothing else in it.
  Record known;
  known.mutable_settings()->CopyFrom(plain);
  must(known.ByteSizeLong() == record.ByteSizeLong(), "a record of settings holds nothing else");
  Settings only;
  only.set_van(plain.van());
  only.set_prepared_unix_ms(plain.prepared_unix_ms());
  if (plain.has_driving_period_ms()) only.set_driving_period_ms(plain.driving_period_ms());
  if (plain.has_charging_period_ms()) only.set_charging_period_ms(plain.charging_period_ms());
  only.set_driving_deadline_ms(plain.driving_deadline_ms());
  only.set_charging_deadline_ms(plain.charging_deadline_ms());
  only.set_battery(plain.battery());
  must(only.ByteSizeLong() == plain.ByteSizeLong(), "settings hold nothing unknown");
  must(read.van_bytes <= kMaxVanNameBytes && read.driving_period_ms.value_or(0) <= kMaxPeriodMs &&
           read.charging_period_ms.value_or(0) <= kMaxPeriodMs &&
           read.driving_deadline_ms >= kMinDeadlineMs &&
           read.driving_deadline_ms <= kMaxDeadlineMs &&
           read.charging_deadline_ms >= kMinDeadlineMs &&
           read.charging_deadline_ms <= kMaxDeadlineMs,
       "every value is within its bounds");
}

// What libprotobuf reads, the logger refuses for a reason of its own, not as
// malformed.
void check_record(Input bytes, const LoggerSettings& untouched) {
  LoggerSettings read = untouched;
  const SettingsOutcome outcome = read_settings_record(bytes, read);
  if (outcome == SettingsOutcome::taken) {
    compare(bytes, read);
  } else {
    must(read == untouched, "refused settings change nothing");
  }
}

}  // namespace

void try_settings(Input input) {
  LoggerSettings untouched;
  untouched.prepared_unix_ms = 4711;
  const auto record = input.first(std::min(input.size(), kSectorPayloadBytes));
  check_record(record, untouched);

  std::array<std::uint8_t, kSectorBytes> sector{};
  const auto raw = input.first(std::min(input.size(), sector.size()));
  std::copy(raw.begin(), raw.end(), sector.begin());
  LoggerSettings read = untouched;
  std::optional<SectorHeader> header;
  if (read_settings_sector(sector, read, header) != SettingsOutcome::taken)
    must(read == untouched, "refused settings change nothing");

  sector = {};
  std::copy(record.begin(), record.end(), sector.begin() + kSectorHeaderBytes);
  SectorHeader sealed;
  sealed.kind = SectorKind::settings;
  sealed.payload_bytes = static_cast<std::uint16_t>(record.size());
  sealed.log_id = 0x20260105;
  sealed.ring_sectors = 64;
  seal_sector(sector, sealed);
  LoggerSettings alone = untouched;
  const SettingsOutcome outcome = read_settings_record(record, alone);
  read = untouched;
  must(read_settings_sector(sector, read, header) == outcome && read == alone,
       "a sector means what its record means");
  must(header == sealed, "the header holds even if the settings are refused");
}

}  // namespace packmile::fuzz
