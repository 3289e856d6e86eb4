#include "catalogue/catalogue.hpp"

#include <set>
#include <string>

#include <doctest/doctest.h>

using namespace packmile;

namespace {

double value_of(SignalId id, std::uint32_t raw) {
  const SignalEntry* entry = find_signal(id);
  REQUIRE(entry != nullptr);
  return raw * entry->scale + entry->offset;
}

}  // namespace

// Source: the same words as decoded by tshark 4.0.17 (obd-ii dissector) and
// scapy 2.5.0 (contrib.automotive.obd); tests/conformity runs both tools.
TEST_CASE("catalogue: scalars as two tools decode them") {
  CHECK(value_of(signal::speed_kmh, 0x32) == doctest::Approx(50));
  CHECK(value_of(signal::module_v, 0x36B0) == doctest::Approx(14.0));
  CHECK(value_of(signal::ambient_c, 0x4B) == doctest::Approx(35));
  CHECK(value_of(signal::ambient_c, 0x28) == doctest::Approx(0));
  CHECK(value_of(signal::soc_pct, 0x80) == doctest::Approx(50.196).epsilon(1e-5));
  CHECK(value_of(signal::soc_pct, 0xC8) == doctest::Approx(78.4313725490196));
  CHECK(value_of(signal::run_time_s, 0x0E10) == doctest::Approx(3600));
  CHECK(value_of(signal::distance_since_clear_km, 0x04D2) == doctest::Approx(1234));
  CHECK(value_of(signal::coolant_c, 0x50) == doctest::Approx(40));
  CHECK(value_of(signal::barometric_kpa, 0x65) == doctest::Approx(101));
  CHECK(value_of(signal::demanded_torque_pct, 0x7D) == doctest::Approx(0));
  CHECK(value_of(signal::reference_torque_nm, 0x012C) == doctest::Approx(300));
}

// Source: odometer formula from Wikipedia, OBD-II PIDs. Pack voltage: from
// memory, arithmetic only; no test here can confirm the scale of $9A.
TEST_CASE("catalogue: odometer and pack voltage arithmetic") {
  CHECK(value_of(signal::odometer_km, 0x0001E240) == doctest::Approx(12345.6));
  CHECK(value_of(signal::pack_v, 0x5780) == doctest::Approx(350.0));
}

TEST_CASE("catalogue: every line is whole, and lies inside its PID") {
  std::set<std::string> names;
  SignalId last = 0;
  for (const SignalEntry& entry : signal_catalogue()) {
    CAPTURE(std::string(entry.name));
    CHECK(entry.id > last);
    last = entry.id;
    CHECK(entry.id < kFirstOwnersSignal);
    CHECK(names.insert(std::string(entry.name)).second);
    CHECK_FALSE(entry.unit.empty());
    CHECK_FALSE(entry.source.empty());
    CHECK_FALSE(name_of(entry.confidence).empty());
    CHECK(entry.scale != 0);
    CHECK(find_signal(entry.name) == &entry);
    const PidEntry* pid = find_pid(entry.pid);
    REQUIRE(pid != nullptr);
    const int pid_bytes = pid->bytes == 0 ? 4 : pid->bytes;
    CHECK(entry.first_byte + entry.bytes <= pid_bytes);
  }
}

TEST_CASE("catalogue: the signals of a PID cover each of its bytes once") {
  std::size_t signals = 0;
  for (const PidEntry& pid : pid_catalogue()) {
    CAPTURE(static_cast<int>(pid.pid));
    const auto inside = signals_of_pid(pid.pid);
    signals += inside.size();
    int bytes = 0;
    for (const SignalEntry& entry : inside) bytes += entry.bytes;
    CHECK(bytes == (pid.bytes == 0 ? 4 : pid.bytes));
  }
  CHECK(signals == signal_catalogue().size());
  CHECK(signals_of_pid(0x03).empty());
}
