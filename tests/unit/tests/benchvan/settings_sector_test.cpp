#include "benchvan/settings_sector.hpp"

#include <doctest/doctest.h>

#include "packmile.pb.h"

using namespace packmile;
using namespace packmile::benchvan;

namespace {

Settings settings_in(const SectorBytes& sector, SectorHeader& header) {
  REQUIRE(read_sector(sector, header) == SectorVerdict::good);
  const auto payload = sector_payload(sector, header);
  Record record;
  REQUIRE(record.ParseFromArray(payload.data(), static_cast<int>(payload.size())));
  return record.settings();
}

}  // namespace

TEST_CASE("settings sector: made, and changed in its poll period alone") {
  const auto made = make_settings_sector(0x1234, 64, {.van = "alder", .prepared_unix_ms = 77});
  REQUIRE(made.has_value());
  SectorHeader header;
  Settings settings = settings_in(*made, header);
  CHECK(header.kind == SectorKind::settings);
  CHECK(header.log_id == 0x1234);
  CHECK(header.ring_sectors == 64);
  CHECK(settings.van() == "alder");
  CHECK_FALSE(settings.has_driving_period_ms());

  const auto changed = with_poll_period(*made, 0);
  REQUIRE(changed.has_value());
  settings = settings_in(*changed, header);
  CHECK(header.log_id == 0x1234);
  CHECK(settings.van() == "alder");
  CHECK(settings.prepared_unix_ms() == 77);
  // Asking again at once is a plan of its own, not an absent one.
  CHECK(settings.has_driving_period_ms());
  CHECK(settings.driving_period_ms() == 0);
  CHECK(settings.has_charging_period_ms());
  const auto slow = with_poll_period(*made, 500);
  REQUIRE(slow.has_value());
  CHECK(settings_in(*slow, header).driving_period_ms() == 500);
  CHECK(settings_in(*slow, header).charging_period_ms() == 500);
  CHECK(with_poll_period(*changed, std::nullopt) == made);
}

TEST_CASE("settings sector: what is no good settings sector is not changed") {
  const auto made = make_settings_sector(1, 64, {.van = "alder"});
  REQUIRE(made.has_value());
  for (std::size_t at = 0; at < made->size(); ++at) {
    SectorBytes damaged = *made;
    damaged[at] ^= 0x10;
    CHECK_FALSE(with_poll_period(damaged, 200).has_value());
  }
  CHECK_FALSE(with_poll_period(SectorBytes{}, 200).has_value());
  CHECK_FALSE(make_settings_sector(1, 64, {.van = std::string(500, 'x')}).has_value());
}

TEST_CASE(
    "settings sector: the owner's signals go in as the card's schema has them, and come out") {
  for (const bool apart : {false, true}) {
    const std::vector<OwnersField> fields = benchs_own_fields(apart, true);
    const auto made = make_settings_sector(1, 64, {.van = std::string(48, 'v'), .fields = fields});
    REQUIRE(made.has_value());
    SectorHeader header;
    const Settings settings = settings_in(*made, header);
    REQUIRE(settings.owners_signal_size() == static_cast<int>(fields.size()));
    const OwnersSignal& current = settings.owners_signal(1);
    CHECK(current.id() == 1001);
    CHECK(current.role() == ROLE_PACK_A);
    CHECK(current.request_id() == 0x18DA14F1);
    CHECK(current.did() == (apart ? 0xD002 : 0xD001));
    CHECK(current.first_byte() == (apart ? 0 : 3));
    CHECK(current.bytes() == 2);
    CHECK(current.little_endian());
    CHECK(current.is_signed());
    CHECK(current.scale() == 0.02);
    CHECK(current.name() == "pack_a");
    CHECK(current.unit() == "A");
    CHECK(current.code_scale_q16() == 13107);

    // A poll period changes nothing of them.
    const auto changed = with_poll_period(*made, 100);
    REQUIRE(changed.has_value());
    const auto read = fields_in(*changed);
    REQUIRE(read.has_value());
    REQUIRE(read->size() == fields.size());
    for (std::size_t i = 0; i < fields.size(); ++i) {
      const OwnersField& a = fields[i];
      const OwnersField& b = (*read)[i];
      CHECK(a.role == b.role);
      CHECK(a.name == b.name);
      CHECK(a.request_id == b.request_id);
      CHECK(a.did == b.did);
      CHECK(a.first_byte == b.first_byte);
      CHECK(a.bytes == b.bytes);
      CHECK(a.first_bit == b.first_bit);
      CHECK(a.bits == b.bits);
      CHECK(a.little_endian == b.little_endian);
      CHECK(a.is_signed == b.is_signed);
      CHECK(a.scale == b.scale);
      CHECK(a.offset == b.offset);
      CHECK(a.unit == b.unit);
      CHECK(a.period_ms == b.period_ms);
    }
  }
  CHECK_FALSE(fields_in(SectorBytes{}).has_value());
}
