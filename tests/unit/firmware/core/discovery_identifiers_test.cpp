// Discovery where service 01 does not have the pack: F4xx, and the owner's list.
#include "core/discovery.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <string>
#include <vector>

#include "discovery_run.hpp"

namespace packmile {

using namespace test;

namespace {

// The same PIDs by service 22, F400 and what its bitmaps promise.
AskedEcu by_id_ecu() {
  AskedEcu ecu;
  ecu.answers = {
      {{0x22, 0xF4, 0x00}, {{0x62, 0xF4, 0x00, 0x00, 0x08, 0x00, 0x01}}},
      {{0x22, 0xF4, 0x20}, {{0x62, 0xF4, 0x20, 0x00, 0x00, 0x00, 0x01}}},
      {{0x22, 0xF4, 0x40}, {{0x62, 0xF4, 0x40, 0x40, 0x00, 0x00, 0x21}}},
      {{0x22, 0xF4, 0x60}, {{0x62, 0xF4, 0x60, 0x00, 0x00, 0x00, 0x01}}},
      {{0x22, 0xF4, 0x80}, {{0x62, 0xF4, 0x80, 0x00, 0x00, 0x00, 0x41}}},
      {{0x22, 0xF4, 0xA0}, {{0x62, 0xF4, 0xA0, 0x04, 0x00, 0x00, 0x00}}},
      {{0x22, 0xF1, 0x90}, {with_text({0x62, 0xF1, 0x90}, kVin)}},
  };
  return ecu;
}

}  // namespace

// Source: ISO 14229-1, F400..F4FF as the PIDs of SAE J1979, and F190; that the
// data is laid out alike is from memory.
TEST_CASE("discovery: a van that has its items by identifier alone") {
  const DiscoveryRun result = run({by_id_ecu()});
  CHECK(result.state == DiscoveryState::found);
  CHECK(result.requests == std::vector<std::string>{"7DF 01 00", "18DB33F1 01 00", "7DF 22 F4 00",
                                                    "7E0 22 F4 20", "7E0 22 F4 40", "7E0 22 F4 60",
                                                    "7E0 22 F4 80", "7E0 22 F4 A0",
                                                    "7E0 22 F1 90"});
  REQUIRE(result.map.ecus().size() == 1);
  const VanEcu& ecu = result.map.ecus()[0];
  for (const std::uint8_t pid : Bytes{0x0D, 0x42, 0x5B, 0x9A, 0xA6}) {
    CHECK(ecu.dids.has(pid));
    CHECK_FALSE(ecu.pids.has(pid));
  }
  CHECK(ecu.by_id);
  CHECK(result.map.vin.view() == kVin);

  AskedEcu extended = by_id_ecu();
  extended.extended = true;
  extended.response_id = 0x18DAF110;
  const DiscoveryRun with_29 = run({extended});
  CHECK(with_29.state == DiscoveryState::found);
  REQUIRE(with_29.requests.size() == 10);
  CHECK(with_29.requests[3] == "18DB33F1 22 F4 00");
  CHECK(with_29.requests[4] == "18DA10F1 22 F4 20");
  CHECK(with_29.map.vin.view() == kVin);
}

TEST_CASE("discovery: by identifier only where no ECU has the pack by service 01") {
  AskedEcu both = battery_ecu();
  for (const auto& [request, answer] : by_id_ecu().answers) both.answers[request] = answer;
  CHECK(run({both}).requests.size() == 10);  // not one of 22

  // An ECU with the speed by service 01, and the pack by identifier of another.
  AskedEcu pack = by_id_ecu();
  pack.response_id = 0x7EC;
  const DiscoveryRun result = run({small_ecu(0x7E8), pack});
  CHECK(result.state == DiscoveryState::found);
  REQUIRE(result.map.ecus().size() == 2);
  CHECK(result.map.ecus()[0].pids.has(0x0D));
  CHECK_FALSE(result.map.ecus()[0].by_id);
  CHECK(result.map.ecus()[1].response_id == 0x7EC);
  CHECK(result.map.ecus()[1].dids.has(0x9A));
  CHECK(result.map.vin.view() == kVin);
  // F190 is asked of those that answer by identifier alone.
  CHECK(std::count(result.requests.begin(), result.requests.end(), "7E4 22 F1 90") == 1);
  CHECK(std::count(result.requests.begin(), result.requests.end(), "7E0 22 F1 90") == 0);
}

TEST_CASE("discovery: the owner's identifiers find ECUs that answer nothing else") {
  constexpr std::array<AllowedDid, 4> kOwners{
      {{0x7E4, 0x1234}, {0x7E4, 0x1235}, {0x18DA44F1, 0xFD01}, {0x7E6, 0x2000}}};
  AskedEcu pack;
  pack.response_id = 0x7EC;
  pack.answers = {{{0x22, 0x12, 0x34}, {{0x62, 0x12, 0x34, 0x01, 0x02}}},
                  {{0x22, 0xF1, 0x90}, {with_text({0x62, 0xF1, 0x90}, kVin)}}};
  AskedEcu charger;
  charger.extended = true;
  charger.response_id = 0x18DAF144;
  charger.answers = {{{0x22, 0xFD, 0x01}, {{0x7F, 0x22, 0x31}}}};
  const DiscoveryRun result = run({pack, charger}, kOwners);
  CHECK(result.state == DiscoveryState::found);
  // One identifier of each ECU, the first; the last is silent and asked twice.
  CHECK(std::vector<std::string>(result.requests.begin() + 4, result.requests.end()) ==
        std::vector<std::string>{"7E4 22 12 34", "18DA44F1 22 FD 01", "7E6 22 20 00",
                                 "7E6 22 20 00", "7E4 22 F1 90"});
  REQUIRE(result.map.find(0x7EC));
  CHECK(result.map.find(0x7EC)->by_id);
  CHECK(result.map.find(0x7EC)->request_id == 0x7E4);
  CHECK_FALSE(result.map.find(0x7EE));
  CHECK(result.map.vin.view() == kVin);
  // Without the list nobody is there.
  CHECK(run({pack, charger}).state == DiscoveryState::nothing);
  // An ECU that is known already is not asked again for the list's sake.
  AskedEcu known = battery_ecu();
  known.response_id = 0x7EC;
  CHECK(run({known}, std::span(kOwners).first(2)).requests.size() == 10);
}

}  // namespace packmile
