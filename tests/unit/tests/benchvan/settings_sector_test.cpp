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
