#include "card/boot_facts.hpp"

#include <doctest/doctest.h>

#include <string>

#include "packmile.pb.h"

using namespace packmile;

namespace {

std::vector<std::uint8_t> bytes_of(const Record& record) {
  const std::string text = record.SerializeAsString();
  return {text.begin(), text.end()};
}

SectorHeader header_of(SectorKind kind, std::uint32_t sequence) {
  SectorHeader header;
  header.kind = kind;
  header.log_id = 1;
  header.boot_id = 2;
  header.sequence = sequence;
  return header;
}

Record data(std::uint64_t base_ms, int rows) {
  Record record;
  record.set_base_ms(base_ms);
  Block& block = *record.add_block();
  block.set_ecu(0x7E8);
  block.add_signal(SPEED_KMH);
  block.set_period_ms(200);
  for (int i = 0; i < rows; ++i) block.add_time(0), block.add_c0(0);
  return record;
}

}  // namespace

// Source: the bitmap BE 1F A8 13 and its PIDs are the worked example of the
// public OBD-II PID tables.
TEST_CASE("boot: session records of one boot are joined, ECUs by response id") {
  BootFacts boot;
  BootCensus census(BootCensus::Depth::whole);
  Record first;
  first.mutable_session()->set_vin("1M8GDM9AXKP042788");
  Ecu& ecu = *first.mutable_session()->add_ecu();
  ecu.set_response_id(0x7EA);
  ecu.set_supported_pids(std::string("\xBE\x1F\xA8\x13", 4));
  first.mutable_session()->mutable_counters()->set_requests_while_parked(5);
  first.mutable_session()->set_supply_min_mv(12'100);
  Record second;
  Ecu& more = *second.mutable_session()->add_ecu();
  more.set_response_id(0x7E8);
  more.set_calibration_id("CAL-1");
  second.mutable_session()->add_ecu()->set_response_id(0x7EA);
  second.mutable_session()->mutable_ecu(1)->set_name("DCDC");
  second.mutable_session()->mutable_counters()->set_requests_while_parked(3);
  second.mutable_session()->set_supply_min_mv(12'400);
  Poll& poll = *second.mutable_session()->add_poll();
  poll.set_ecu(0x7E8);
  poll.set_pid(std::string("\x9A\x0D", 2));
  census.add(boot, header_of(SectorKind::session, 40), bytes_of(first));
  census.add(boot, header_of(SectorKind::session, 33), bytes_of(second));
  census.finish();

  CHECK(boot.sectors == 2);
  CHECK(boot.first_sequence == 33);
  CHECK(boot.last_sequence == 40);
  CHECK(boot.vin == "1M8GDM9AXKP042788");
  REQUIRE(boot.ecus.size() == 2);
  CHECK(boot.ecus[0].calibration_id == "CAL-1");
  CHECK(boot.ecus[1].name == "DCDC");
  CHECK(boot.ecus[1].supported_pids == std::vector<std::uint8_t>{0x01, 0x03, 0x04, 0x05, 0x06, 0x07,
                                                                 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11,
                                                                 0x13, 0x15, 0x1C, 0x1F, 0x20});
  CHECK(boot.polled.size() == 2);
  CHECK(boot.counters.requests_while_parked == 5);
  CHECK(boot.supply_min_mv == 12'100);
  CHECK_FALSE(boot.first_tick);
}

TEST_CASE("boot: first and last tick, also when the ring begins in mid boot") {
  for (const auto depth : {BootCensus::Depth::times, BootCensus::Depth::whole}) {
    BootFacts boot, other;
    BootCensus census(depth);
    // In order of address: the newer part of the boot lies in front.
    census.add(boot, header_of(SectorKind::data, 128), bytes_of(data(9'000, 6)));
    census.add(boot, header_of(SectorKind::data, 129), bytes_of(data(20'000, 11)));
    census.add(other, header_of(SectorKind::data, 2), bytes_of(data(77, 1)));
    census.add(boot, header_of(SectorKind::data, 127), bytes_of(data(3'000, 5)));
    census.finish();
    CHECK(boot.first_tick == 3'000);
    CHECK(boot.last_tick == 22'000);
    CHECK(other.first_tick == 77);
    CHECK(other.last_tick == 77);
    REQUIRE(boot.answered.size() == 1);
    CHECK(boot.answered[0].rows == 22);
  }
}

TEST_CASE("boot: malformed records are counted and change nothing else") {
  BootFacts boot;
  BootCensus census(BootCensus::Depth::whole);
  const std::vector<std::uint8_t> noise(100, 0x5A);
  census.add(boot, header_of(SectorKind::data, 1), noise);
  census.add(boot, header_of(SectorKind::session, 2), noise);
  census.finish();
  CHECK(boot.malformed_records == 2);
  CHECK_FALSE(boot.first_tick);
  CHECK_FALSE(boot.last_tick);
}

TEST_CASE("settings: van, time of preparing, and fields that a logger would refuse") {
  Record record;
  record.mutable_settings()->set_van("Alder");
  record.mutable_settings()->set_prepared_unix_ms(1'767'000'000'000);
  auto settings = read_settings(bytes_of(record));
  REQUIRE(settings);
  CHECK(settings->van == "Alder");
  CHECK(settings->prepared_unix_ms == 1'767'000'000'000);
  CHECK_FALSE(settings->unknown_fields);
  record.settings()
      .GetReflection()
      ->MutableUnknownFields(record.mutable_settings())
      ->AddVarint(44, 1);
  settings = read_settings(bytes_of(record));
  REQUIRE(settings);
  CHECK(settings->unknown_fields);
  CHECK_FALSE(read_settings(std::vector<std::uint8_t>{0x22, 0x7F}));
  CHECK_FALSE(read_settings({}));
}
