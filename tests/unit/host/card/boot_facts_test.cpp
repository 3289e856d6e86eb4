#include "card/boot_facts.hpp"

#include <doctest/doctest.h>

#include <string>

#include "card/owners_on_card.hpp"
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

namespace {

OwnersSignal doors(std::uint32_t id, std::uint32_t did) {
  OwnersSignal signal;
  put_definition({.name = "doors", .request_id = 0x7E4, .did = static_cast<std::uint16_t>(did)}, 0,
                 signal);
  signal.set_id(id);
  return signal;
}

}  // namespace

TEST_CASE("boot: owner's signals of its session records are joined by id") {
  BootFacts boot;
  BootCensus census(BootCensus::Depth::whole);
  Record first, second;
  *first.mutable_session()->add_owners_signal() = doors(1003, 0xF003);
  *first.mutable_session()->add_owners_signal() = doors(1001, 0xF001);
  *first.mutable_session()->add_owners_signal() = doors(1004, 0xF005);
  // The same again, another of the same id, one of an id that there is not, and
  // one that breaks a rule.
  *second.mutable_session()->add_owners_signal() = doors(1001, 0xF001);
  *second.mutable_session()->add_owners_signal() = doors(1003, 0xFFFF);
  *second.mutable_session()->add_owners_signal() = doors(1016, 0xF004);
  *second.mutable_session()->add_owners_signal() = doors(1002, 0);
  census.add(boot, header_of(SectorKind::session, 33), bytes_of(first));
  census.add(boot, header_of(SectorKind::session, 34), bytes_of(second));
  // What was contradicted stays out, even when the first definition comes again.
  census.add(boot, header_of(SectorKind::session, 35), bytes_of(first));
  census.finish();
  REQUIRE(boot.owners_signals.size() == 2);
  CHECK(boot.owners_signals[0].id == 1001);
  CHECK(boot.owners_signals[0].definition.did == 0xF001);
  CHECK(boot.owners_signals[1].id == 1004);
  CHECK(boot.owners_signals[1].definition.did == 0xF005);
  CHECK(boot.broken_definition);
}

TEST_CASE("boot: how the logger failed in the run before") {
  const auto boot_of = [](ResetCause cause, bool fault) {
    BootFacts boot;
    BootCensus census(BootCensus::Depth::whole);
    Record record;
    record.mutable_session()->set_reset_cause(cause);
    if (fault) {
      Fault& f = *record.mutable_session()->mutable_fault();
      f.set_exception(3);
      f.set_program_counter(0x1234);
      f.set_link_register(0xFFFF'FFF9);
      f.set_status(0x8200);
    }
    census.add(boot, header_of(SectorKind::session, 32), bytes_of(record));
    // Later parts do not repeat it.
    Record later;
    later.mutable_session()->set_van("heron");
    census.add(boot, header_of(SectorKind::session, 33), bytes_of(later));
    return boot;
  };
  for (const ResetCause cause : {RESET_UNKNOWN, RESET_POWER_ON, RESET_REQUESTED}) {
    CHECK(boot_of(cause, false).failure == LoggerFailure::none);
    CHECK_FALSE(boot_of(cause, false).fault);
  }
  CHECK(boot_of(RESET_WATCHDOG, false).failure == LoggerFailure::watchdog);
  CHECK(boot_of(RESET_WATCHDOG, true).failure == LoggerFailure::watchdog);
  CHECK(boot_of(RESET_FAULT, false).failure == LoggerFailure::fault);
  CHECK_FALSE(boot_of(RESET_FAULT, false).fault);
  // What was written down stands, though the port did not know the cause.
  const BootFacts told = boot_of(RESET_UNKNOWN, true);
  CHECK(told.failure == LoggerFailure::fault);
  REQUIRE(told.fault);
  CHECK(told.fault->exception == 3);
  CHECK(told.fault->program_counter == 0x1234);
  CHECK(told.fault->link_register == 0xFFFF'FFF9);
  CHECK(told.fault->status == 0x8200);
}

TEST_CASE("settings: owner's signals in order, or none of them") {
  Record record;
  Settings& s = *record.mutable_settings();
  *s.add_owners_signal() = doors(1000, 0xF001);
  *s.add_owners_signal() = doors(1001, 0xF002);
  auto settings = read_settings(bytes_of(record));
  REQUIRE(settings);
  CHECK_FALSE(settings->refused());
  REQUIRE(settings->owners_signals.size() == 2);
  CHECK(settings->owners_signals[1].did == 0xF002);

  // Out of order, a rule broken, one too many, a field that is not known.
  const std::vector<std::vector<OwnersSignal>> refused{
      {doors(1001, 1)}, {doors(1000, 1), doors(1000, 2)}, {doors(1000, 1), doors(1001, 0)}};
  for (const auto& list : refused) {
    s.clear_owners_signal();
    for (const OwnersSignal& signal : list) *s.add_owners_signal() = signal;
    settings = read_settings(bytes_of(record));
    REQUIRE(settings);
    CHECK(settings->bad_owners_signal);
    CHECK(settings->refused());
    CHECK(settings->owners_signals.empty());
  }
  s.clear_owners_signal();
  for (std::uint32_t k = 0; k < 17; ++k) *s.add_owners_signal() = doors(1000 + k, k + 1);
  CHECK(read_settings(bytes_of(record))->bad_owners_signal);
  s.mutable_owners_signal()->RemoveLast();
  CHECK(read_settings(bytes_of(record))->owners_signals.size() == 16);
  s.GetReflection()->MutableUnknownFields(&s)->AddVarint(99, 1);
  CHECK(read_settings(bytes_of(record))->owners_signals.empty());
}

TEST_CASE("card: owner's signals of settings and boots, each definition once") {
  CardSettings settings;
  settings.owners_signals = {*definition_of(doors(1000, 0xF00B)), *definition_of(doors(1001, 5))};
  std::vector<BootFacts> boots(2);
  boots[0].owners_signals = {{1000, *definition_of(doors(1000, 0xF00B))}};
  boots[1].owners_signals = {{1000, *definition_of(doors(1000, 6))},
                             {1002, *definition_of(doors(1002, 5))}};
  const auto got = owners_signals_of(&settings, boots);
  REQUIRE(got.size() == 4);
  const auto is = [&](std::size_t k, SignalId id, std::uint16_t did, bool in_settings,
                      bool in_sessions) {
    return got[k].id == id && got[k].definition.did == did && got[k].in_settings == in_settings &&
           got[k].in_sessions == in_sessions;
  };
  CHECK(is(0, 1000, 0xF00B, true, true));
  CHECK(is(1, 1000, 6, false, true));
  CHECK(is(2, 1001, 5, true, false));
  CHECK(is(3, 1002, 5, false, true));
  CHECK(dids_of(got) == std::vector<std::uint16_t>{5, 6, 0xF00B});
  CHECK(owners_signals_of(nullptr, {}).empty());
  // A forgery has as many as it likes.
  boots.assign(400, {});
  for (std::uint32_t k = 0; k < boots.size(); ++k)
    boots[k].owners_signals = {{1000, *definition_of(doors(1000, k + 1))}};
  CHECK(owners_signals_of(nullptr, boots).size() == 256);
}
