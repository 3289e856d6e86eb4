// The settings sector as the logger reads it, against libprotobuf: what the core
// takes, libprotobuf reads to the same values.
//
// Input  a settings record; the same bytes are tried as a record, as a sector
//        that they are the beginning of, and as the payload of a good sector.
#include <algorithm>
#include <array>
#include <string>
#include <vector>

#include "core/settings.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "packmile.pb.h"

namespace packmile::fuzz {
namespace {

// The definition, its bytes taken again by libprotobuf.
void compare(const OwnersSignal& plain, const OwnersSignals& read, std::size_t index) {
  OwnersSignal kept;
  const auto message = read.message(index);
  must(kept.ParseFromArray(message.data(), static_cast<int>(message.size())),
       "libprotobuf reads the definition that was kept");
  must(kept.SerializeAsString() == plain.SerializeAsString(), "the same definition");
  must(plain.GetReflection()->GetUnknownFields(plain).empty(),
       "a definition holds nothing unknown");
  const AllowedDid did = read.dids()[index];
  const OwnersSignalPlace& place = read.place(index);
  must(did.request_id == plain.request_id() && did.did == plain.did(), "the same identifier");
  must(place.first_byte == plain.first_byte() && place.bytes == plain.bytes() &&
           place.first_bit == plain.first_bit() && place.little_endian == plain.little_endian() &&
           place.is_signed == plain.is_signed() && place.period_ms == plain.period_ms() &&
           place.code_scale_q16 == plain.code_scale_q16() &&
           place.code_offset == plain.code_offset() &&
           static_cast<int>(place.role) == static_cast<int>(plain.role()),
       "the same place of the word");
  must(place.bits == (plain.bits() == 0 ? 8 * plain.bytes() - plain.first_bit() : plain.bits()),
       "the same bits");
  // What the gate may be widened by, whatever the card says.
  const bool eleven = did.request_id >= 0x7E0 && did.request_id <= 0x7E7;
  const bool twenty_nine =
      (did.request_id & 0xFFFF00FF) == 0x18DA00F1 && did.request_id != 0x18DAF1F1;
  must((eleven || twenty_nine) && did.did != 0, "an identifier of one ECU");
  must(place.bytes >= 1 && place.bytes <= 4 && place.bits >= 1 &&
           place.first_bit + place.bits <= 8 * place.bytes &&
           place.first_byte + place.bytes <= kMaxOwnersDataBytes,
       "the word lies within its bytes");
  for (const std::size_t size : {0u, 1u, 4u, 157u}) {
    const std::vector<std::uint8_t> data(size, 0xFF);
    const auto word = read.word(index, data);
    must(word.has_value() == (size >= std::size_t{place.first_byte} + place.bytes),
         "a word is whole or absent");
    if (!word) continue;
    must(*word == (place.bits == 32 ? 0xFFFFFFFFu : (1u << place.bits) - 1), "all bits are set");
    static_cast<void>(read.standard_word(index, *word));
  }
}

void compare(Input bytes, const LoggerSettings& read, const OwnersSignals& owners) {
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
  must(owners.size() == static_cast<std::size_t>(plain.owners_signal_size()) &&
           owners.size() <= kMaxOwnersSignals,
       "as many definitions");
  for (std::size_t i = 0; i < owners.size(); ++i)
    compare(plain.owners_signal(static_cast<int>(i)), owners, i);
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
  *only.mutable_owners_signal() = plain.owners_signal();
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
  OwnersSignals owners;
  const SettingsOutcome outcome = read_settings_record(bytes, read, owners);
  if (outcome == SettingsOutcome::taken) {
    compare(bytes, read, owners);
  } else {
    must(read == untouched && owners.size() == 0, "refused settings change nothing");
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
  OwnersSignals owners;
  std::optional<SectorHeader> header;
  if (read_settings_sector(sector, read, owners, header) != SettingsOutcome::taken)
    must(read == untouched && owners.size() == 0, "refused settings change nothing");

  sector = {};
  std::copy(record.begin(), record.end(), sector.begin() + kSectorHeaderBytes);
  SectorHeader sealed;
  sealed.kind = SectorKind::settings;
  sealed.payload_bytes = static_cast<std::uint16_t>(record.size());
  sealed.log_id = 0x20260105;
  sealed.ring_sectors = 64;
  seal_sector(sector, sealed);
  LoggerSettings alone = untouched;
  OwnersSignals owners_alone;
  const SettingsOutcome outcome = read_settings_record(record, alone, owners_alone);
  read = untouched;
  must(read_settings_sector(sector, read, owners, header) == outcome && read == alone &&
           std::ranges::equal(owners.dids(), owners_alone.dids()),
       "a sector means what its record means");
  must(header == sealed, "the header holds even if the settings are refused");
}

}  // namespace packmile::fuzz
