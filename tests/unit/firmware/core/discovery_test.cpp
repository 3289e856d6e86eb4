#include "core/discovery.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <random>
#include <string>

#include "core/isotp_receiver.hpp"
#include "discovery_run.hpp"

namespace packmile {

using namespace test;

// Source: bitmaps, 09 layout and VIN of SAE J1979 as read by tshark 4.0.17 and
// scapy 2.5.0 (ECU name MCU\0-MotorControl).
TEST_CASE("discovery: one ECU that answers everything, each request once") {
  const DiscoveryRun result = run({battery_ecu()});
  CHECK(result.state == DiscoveryState::found);
  CHECK(result.requests ==
        std::vector<std::string>{"7DF 01 00", "7E0 01 20", "7E0 01 40", "7E0 01 60", "7E0 01 80",
                                 "7E0 01 A0", "7E0 09 00", "7E0 09 02", "7E0 09 04", "7E0 09 0A"});
  REQUIRE(result.map.ecus().size() == 1);
  const VanEcu& ecu = result.map.ecus()[0];
  CHECK(ecu.response_id == 0x7E8);
  CHECK(ecu.request_id == 0x7E0);
  CHECK_FALSE(ecu.extended);
  for (const std::uint8_t pid : Bytes{0x0D, 0x42, 0x5B, 0x9A, 0xA6}) CHECK(ecu.pids.has(pid));
  CHECK_FALSE(ecu.pids.has(0x46));
  CHECK(ecu.pids.ranges() == 6);
  CHECK(ecu.name.view() == "MCU-MotorControl");
  CHECK(ecu.calibration_id.view() == "BMS-22.4");
  CHECK(result.map.vin.view() == kVin);
  CHECK(result.map.find(0x7E8) == &result.map.ecus()[0]);
  CHECK(result.map.find(0x7E9) == nullptr);
  // Only the functional window is waited for.
  CHECK(result.took_ms < kReplyMs + 200);
}

TEST_CASE("discovery: 29-bit ids when nobody answers with 11 bits") {
  AskedEcu ecu = battery_ecu();
  ecu.extended = true;
  ecu.response_id = 0x18DAF110;
  const DiscoveryRun result = run({ecu});
  CHECK(result.state == DiscoveryState::found);
  REQUIRE(result.requests.size() == 11);
  CHECK(result.requests[0] == "7DF 01 00");
  CHECK(result.requests[1] == "18DB33F1 01 00");
  CHECK(result.requests[2] == "18DA10F1 01 20");
  REQUIRE(result.map.ecus().size() == 1);
  CHECK(result.map.ecus()[0].extended);
  CHECK(result.map.ecus()[0].request_id == 0x18DA10F1);
  CHECK(result.map.vin.view() == kVin);
}

TEST_CASE("discovery: a silent van costs four requests and 2.4 s") {
  const DiscoveryRun result = run({});
  CHECK(result.state == DiscoveryState::nothing);
  CHECK(result.requests == std::vector<std::string>{"7DF 01 00", "18DB33F1 01 00", "7DF 22 F4 00",
                                                    "18DB33F1 22 F4 00"});
  CHECK(result.took_ms == 4 * kPatience * kReplyMs);
  CHECK(result.map == VanMap{});
}

TEST_CASE("discovery: several ECUs, by ascending id, bitmaps never mixed, the VIN asked once") {
  AskedEcu second = battery_ecu();
  second.response_id = 0x7EA;
  second.answers[{0x01, 0x00}] = {{0x41, 0x00, 0x80, 0x00, 0x00, 0x00}};
  const DiscoveryRun result = run({small_ecu(0x7EF), second, battery_ecu()});
  REQUIRE(result.map.ecus().size() == 3);
  CHECK(result.map.ecus()[0].response_id == 0x7E8);
  CHECK(result.map.ecus()[1].response_id == 0x7EA);
  CHECK(result.map.ecus()[2].response_id == 0x7EF);
  CHECK(result.map.ecus()[0].pids.has(0x9A));
  CHECK_FALSE(result.map.ecus()[1].pids.has(0x9A));
  CHECK(result.map.ecus()[1].pids.has(0x01));
  CHECK_FALSE(result.map.ecus()[0].pids.has(0x01));
  CHECK(result.requests ==
        std::vector<std::string>{"7DF 01 00", "7E0 01 20", "7E0 01 40", "7E0 01 60", "7E0 01 80",
                                 "7E0 01 A0", "7E0 09 00", "7E0 09 02", "7E0 09 04", "7E0 09 0A",
                                 "7E2 09 00", "7E2 09 04", "7E2 09 0A", "7E7 09 00"});
}

TEST_CASE("discovery: the VIN comes from whichever ECU gives one that can be read") {
  AskedEcu first = battery_ecu();
  first.answers[{0x09, 0x02}] = {with_text({0x49, 0x02, 0x01}, std::string(17, '\xFF'))};
  AskedEcu second = battery_ecu();
  second.response_id = 0x7E9;
  const DiscoveryRun result = run({first, second});
  CHECK(result.map.vin.view() == kVin);
  CHECK(std::count(result.requests.begin(), result.requests.end(), "7E1 09 02") == 1);
}

TEST_CASE("discovery: silent on 09 00, the VIN is asked of all, once") {
  // Nobody has the pack by service 01.
  const std::string kByIdentifier = "7DF 22 F4 00";
  AskedEcu silent = small_ecu(0x7E8);
  AskedEcu willing = small_ecu(0x7E9);
  willing.answers[{0x09, 0x02}] = {with_text({0x49, 0x02, 0x01}, kVin)};
  DiscoveryRun result = run({silent, willing});
  CHECK(result.requests == std::vector<std::string>{"7DF 01 00", "7E0 09 00", "7E1 09 00",
                                                    "7DF 09 02", kByIdentifier});
  CHECK(result.map.vin.view() == kVin);
  CHECK(result.state == DiscoveryState::found);

  result = run({silent});
  CHECK(result.requests ==
        std::vector<std::string>{"7DF 01 00", "7E0 09 00", "7DF 09 02", kByIdentifier});
  CHECK(result.map.vin.empty());
  CHECK(result.state == DiscoveryState::found);

  // A clear no, or a bitmap without it, is believed.
  silent.answers[{0x09, 0x00}] = {{0x7F, 0x09, 0x11}};
  CHECK(run({silent}).requests ==
        std::vector<std::string>{"7DF 01 00", "7E0 09 00", kByIdentifier});
  silent.answers[{0x09, 0x00}] = {{0x49, 0x00, 0x00, 0x00, 0x00, 0x00}};
  CHECK(run({silent}).requests ==
        std::vector<std::string>{"7DF 01 00", "7E0 09 00", kByIdentifier});

  // A VIN known from elsewhere: not asked again.
  result = run({battery_ecu(), small_ecu(0x7E9)});
  CHECK(result.requests.back() == "7E1 09 00");

  AskedEcu wide = willing;
  wide.extended = true;
  wide.response_id = 0x18DAF117;
  const DiscoveryRun extended = run({wide});
  REQUIRE(extended.requests.size() >= 2);
  CHECK(extended.requests[extended.requests.size() - 2] == "18DB33F1 09 02");
  CHECK(run({wide}).map.vin.view() == kVin);
}

TEST_CASE("discovery: a VIN reply cut off anywhere gives no VIN") {
  const Bytes whole = with_text({0x49, 0x02, 0x01}, kVin);
  for (std::size_t size = 0; size <= whole.size(); ++size) {
    CAPTURE(size);
    AskedEcu ecu = battery_ecu();
    ecu.answers[{0x09, 0x02}] = {
        Bytes(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size))};
    const DiscoveryRun result = run({ecu});
    CHECK(result.state == DiscoveryState::found);
    CHECK(result.map.vin.view() == (size == whole.size() ? kVin : ""));
    CHECK(result.map.ecus()[0].name.view() == "MCU-MotorControl");
  }
}

TEST_CASE("discovery: a VIN of visible characters only, padding 00 on its left taken off") {
  const auto vin_from = [](const std::string& text) {
    AskedEcu ecu = battery_ecu();
    ecu.answers[{0x09, 0x02}] = {with_text({0x49, 0x02, 0x01}, text)};
    return std::string(run({ecu}).map.vin.view());
  };
  CHECK(vin_from(std::string("\0\0\0\0\0\0ABCDEFGH123", 17)) == "ABCDEFGH123");
  CHECK(vin_from(std::string(3, '\0') + kVin) == kVin);
  CHECK(vin_from(std::string(17, '\0')).empty());
  CHECK(vin_from(kVin + "9").empty());
  for (std::size_t at = 0; at < kVin.size(); ++at)
    for (int byte = 0; byte < 256; ++byte) {
      std::string changed = kVin;
      changed[at] = static_cast<char>(byte);
      const bool visible = byte > 0x20 && byte < 0x7F;
      const std::string expected = visible ? changed : at == 0 && byte == 0 ? kVin.substr(1) : "";
      REQUIRE(vin_from(changed) == expected);
    }
}

TEST_CASE("discovery: names that cannot be read are left out, the first calibration is kept") {
  AskedEcu ecu = battery_ecu();
  ecu.answers[{0x09, 0x0A}] = {with_text({0x49, 0x0A, 0x01}, std::string(20, '\x01'))};
  ecu.answers[{0x09, 0x04}] = {with_text({0x49, 0x04, 0x02}, "FIRST-CALIBRAT10SECOND          ")};
  DiscoveryRun result = run({ecu});
  CHECK(result.map.ecus()[0].name.empty());
  CHECK(result.map.ecus()[0].calibration_id.view() == "FIRST-CALIBRAT10");
  ecu.answers[{0x09, 0x04}] = {with_text({0x49, 0x04, 0x01}, "SHORT")};
  ecu.answers[{0x09, 0x0A}] = {with_text({0x49, 0x0A, 0x01}, "BECM-Battery        ")};
  result = run({ecu});
  CHECK(result.map.ecus()[0].calibration_id.empty());
  CHECK(result.map.ecus()[0].name.view() == "BECM-Battery");
}

TEST_CASE("discovery: a lost answer is asked for once more where a bitmap promised it") {
  for (const Bytes& lost :
       {Bytes{0x01, 0x40}, Bytes{0x09, 0x02}, Bytes{0x09, 0x04}, Bytes{0x09, 0x0A}}) {
    AskedEcu ecu = battery_ecu();
    ecu.deaf[lost] = 1;
    DiscoveryRun result = run({ecu});
    CHECK(result.map == run({battery_ecu()}).map);
    CHECK(result.requests.size() == 11);
    ecu.deaf[lost] = 1000;
    result = run({ecu});
    CHECK(result.state == DiscoveryState::found);
    CHECK_FALSE(result.map == run({battery_ecu()}).map);
    // The walk that broke off says so.
    CHECK(result.map.ecus()[0].pids.next_base().has_value() == (lost[0] == 0x01));
  }
}

TEST_CASE("discovery: every negative response to every request ends in found") {
  for (const auto& [asked, answer] : battery_ecu().answers) {
    if (asked == Bytes{0x01, 0x00}) continue;
    for (int code = 0; code <= 0xFF; ++code) {
      CAPTURE(code);
      AskedEcu ecu = battery_ecu();
      ecu.answers[asked] = {{0x7F, asked[0], static_cast<std::uint8_t>(code)}};
      const DiscoveryRun result = run({ecu});
      REQUIRE(result.state == DiscoveryState::found);
      const auto times =
          std::count(result.requests.begin(), result.requests.end(),
                     text_of(test::padded(0x7E0, false, {0x02, asked[0], asked[1]})));
      const bool again = code == 0x21 || code == 0x22 || (code == 0x78 && asked[1] != 0x00);
      REQUIRE(times == (again ? 2 : 1));
    }
  }
}

TEST_CASE("discovery: an ECU that says no to 01 00 is not in the map") {
  AskedEcu no = small_ecu(0x7E9);
  no.answers[{0x01, 0x00}] = {{0x7F, 0x01, 0x11}};
  // Nor does its no keep the others out.
  const DiscoveryRun result = run({no, battery_ecu()});
  REQUIRE(result.map.ecus().size() == 1);
  CHECK(result.map.ecus()[0].response_id == 0x7E8);
}

TEST_CASE("discovery: a no after a pending ends the wait for that ECU") {
  Discovery discovery;
  discovery.start();
  (void)discovery.take_request(0);
  CHECK(discovery.on_message(5, 0x7E9, false, Bytes{0x7F, 0x01, 0x78}));
  CHECK(discovery.on_message(10, 0x7E9, false, Bytes{0x7F, 0x01, 0x12}));
  CHECK(discovery.deadline() == kReplyMs);
}

TEST_CASE("discovery: another item than the one asked for is not taken") {
  for (const std::uint8_t type : Bytes{0x00, 0x04, 0x0A, 0x03}) {
    AskedEcu ecu = battery_ecu();
    ecu.answers[{0x09, 0x02}] = {with_text({0x49, type, 0x01}, kVin)};
    const DiscoveryRun result = run({ecu});
    CHECK(result.map.vin.empty());
    // Taken as silence: asked again.
    CHECK(std::count(result.requests.begin(), result.requests.end(), "7E0 09 02") == 2);
  }
}

TEST_CASE("discovery: a 09 00 reply of wrong length promises nothing") {
  AskedEcu second = small_ecu(0x7E9);
  for (const std::size_t size : {2u, 3u, 5u, 7u}) {
    second.answers[{0x09, 0x00}] = {Bytes{0x49, 0x00, 0x50, 0x40, 0x00, 0x00, 0x00}};
    second.answers[{0x09, 0x00}][0].resize(size);
    CHECK(run({battery_ecu(), second}).requests.back() == "7E1 09 00");
  }
}

TEST_CASE("discovery: service 09 refused ends it for that ECU") {
  AskedEcu ecu = battery_ecu();
  ecu.answers[{0x09, 0x02}] = {{0x7F, 0x09, 0x11}};
  CHECK(run({ecu}).requests.back() == "7E0 09 02");
  ecu.answers[{0x09, 0x02}] = {{0x7F, 0x09, 0x12}};
  CHECK(run({ecu}).requests.back() == "7E0 09 0A");
}

TEST_CASE("discovery: busy is asked again after a pause") {
  AskedEcu ecu = battery_ecu();
  Discovery discovery;
  discovery.start();
  (void)discovery.take_request(0);
  REQUIRE(discovery.on_message(5, 0x7E8, false, Bytes{0x41, 0x00, 0, 8, 0, 1}));
  discovery.on_time(kReplyMs);
  REQUIRE(discovery.take_request(200).has_value());
  CHECK(discovery.on_message(210, 0x7E8, false, Bytes{0x7F, 0x01, 0x21}));
  CHECK_FALSE(discovery.take_request(210).has_value());
  REQUIRE(discovery.deadline() == 410);
  discovery.on_time(409);
  CHECK_FALSE(discovery.take_request(409).has_value());
  discovery.on_time(410);
  const auto again = discovery.take_request(410);
  REQUIRE(again.has_value());
  CHECK(text_of(again->frame) == "7E0 01 20");
  CHECK(discovery.on_message(420, 0x7E8, false, Bytes{0x41, 0x20, 0, 0, 0, 0}));
  CHECK(discovery.map().ecus()[0].pids.answered(0x20));
}

TEST_CASE("discovery: response pending is waited for, at most ten times in a row") {
  for (int pending = 0; pending <= 12; ++pending) {
    CAPTURE(pending);
    Discovery discovery;
    discovery.start();
    (void)discovery.take_request(0);
    (void)discovery.on_message(5, 0x7E8, false, Bytes{0x41, 0x00, 0, 8, 0, 1});
    discovery.on_time(kReplyMs);
    (void)discovery.take_request(150);
    Tick now = 160;
    for (int i = 0; i < pending; ++i) {
      (void)discovery.on_message(now, 0x7E8, false, Bytes{0x7F, 0x01, 0x78});
      if (i < 10) {
        REQUIRE(discovery.deadline() == now + kPendingMs);
        now += 5000;
      }
    }
    (void)discovery.on_message(now, 0x7E8, false, Bytes{0x41, 0x20, 0, 0, 0, 0});
    CHECK(discovery.map().ecus()[0].pids.answered(0x20) == (pending <= 10));
  }
}

TEST_CASE("discovery: one ECU pending holds the functional window open until it answers") {
  Discovery discovery;
  discovery.start();
  (void)discovery.take_request(0);
  CHECK(discovery.on_message(5, 0x7E8, false, Bytes{0x41, 0x00, 0, 8, 0, 0}));
  CHECK(discovery.on_message(9, 0x7E9, false, Bytes{0x7F, 0x01, 0x78}));
  CHECK(discovery.deadline() == 9 + kPendingMs);
  discovery.on_time(kReplyMs);
  CHECK_FALSE(discovery.take_request(kReplyMs).has_value());
  CHECK(discovery.on_message(3000, 0x7E9, false, Bytes{0x41, 0x00, 0, 8, 0, 0}));
  REQUIRE(discovery.deadline().has_value());
  CHECK(*discovery.deadline() <= 3000);
  discovery.on_time(3000);
  CHECK(discovery.map().ecus().size() == 2);
  CHECK(text_of(discovery.take_request(3000)->frame) == "7E0 09 00");
}

TEST_CASE("discovery: a long answer under way is waited for") {
  Discovery discovery;
  discovery.start();
  (void)discovery.take_request(0);
  (void)discovery.on_message(5, 0x7E8, false, Bytes{0x41, 0x00, 0, 8, 0, 1});
  discovery.on_time(kReplyMs);
  (void)discovery.take_request(150);
  discovery.on_partial(290, 0x7E9, false);  // not the one that was asked
  CHECK(discovery.deadline() == 300);
  discovery.on_partial(290, 0x7E8, false);
  CHECK(discovery.deadline() == 290 + kNCrMs);
  // However long it goes on, not for ever.
  for (Tick now = 300; now < 200000; now += 100) discovery.on_partial(now, 0x7E8, false);
  CHECK(discovery.deadline() == 150 + kLongestReplyMs);
}

TEST_CASE("discovery: what was not asked for changes nothing") {
  Discovery discovery;
  CHECK_FALSE(discovery.on_message(0, 0x7E8, false, Bytes{0x41, 0x00, 0, 8, 0, 1}));
  discovery.start();
  CHECK_FALSE(discovery.on_message(0, 0x7E8, false, Bytes{0x41, 0x00, 0, 8, 0, 1}));
  (void)discovery.take_request(0);
  for (const Bytes& other :
       {Bytes{}, Bytes{0x41}, Bytes{0x41, 0x00, 1, 2, 3}, Bytes{0x41, 0x0D, 0x32},
        Bytes{0x41, 0x20, 0, 0, 0, 0}, Bytes{0x49, 0x00, 0, 0, 0, 0}, Bytes{0x7F, 0x09, 0x12},
        Bytes{0x62, 0xF1, 0x90}})
    CHECK_FALSE(discovery.on_message(1, 0x7E8, false, other));
  const Bytes good{0x41, 0x00, 0, 8, 0, 0};
  for (const std::uint32_t id : {0x7DFu, 0x7E0u, 0x7F0u, 0x18DAF110u})
    CHECK_FALSE(discovery.on_message(1, id, false, good));
  CHECK(discovery.map() == VanMap{});
  CHECK(discovery.on_message(1, 0x7E8, false, good));
  CHECK_FALSE(discovery.on_message(2, 0x7E8, false, good));  // twice
  CHECK(discovery.map().ecus().size() == 1);
}

TEST_CASE("discovery: no more than eight ECUs, whoever answers") {
  std::vector<AskedEcu> ecus;
  for (std::uint32_t i = 0; i < 40; ++i) {
    AskedEcu ecu = small_ecu(0x18DAF100 | (200 - i));
    ecu.extended = true;
    ecus.push_back(ecu);
  }
  const DiscoveryRun result = run(ecus);
  REQUIRE(result.map.ecus().size() == kMaxEcus);
  for (std::size_t i = 1; i < kMaxEcus; ++i)
    CHECK(result.map.ecus()[i - 1].response_id < result.map.ecus()[i].response_id);
}

TEST_CASE("discovery: started again it is like new") {
  Discovery discovery;
  const DiscoveryRun first = run({battery_ecu()}, discovery);
  const DiscoveryRun second = run({battery_ecu()}, discovery);
  CHECK(first.map == second.map);
  CHECK(first.requests == second.requests);
  CHECK(run({}, discovery).map == VanMap{});
}

TEST_CASE("discovery: ends, whatever the ECUs say") {
  std::mt19937 random(11);
  for (int round = 0; round < 3000; ++round) {
    CAPTURE(round);
    Discovery discovery;
    discovery.start();
    Tick now = 0;
    int requests = 0;
    Bytes asked;
    for (int step = 0; step < 20000 && discovery.state() == DiscoveryState::running; ++step) {
      if (const auto request = discovery.take_request(now)) {
        ++requests;
        asked.assign(request->frame.data.begin() + 1, request->frame.data.begin() + 3);
      }
      Bytes message(random() % 30);
      for (auto& byte : message) byte = static_cast<std::uint8_t>(random());
      // Often close to what is asked, or nothing would ever be taken.
      if (message.size() > 2 && random() % 2 != 0) {
        message[0] = static_cast<std::uint8_t>(asked[0] | 0x40);
        message[1] = asked[1];
        if (random() % 2 != 0) message.resize(6);
      } else if (message.size() > 2 && random() % 4 == 0) {
        const std::uint8_t codes[] = {0x78, 0x21, 0x22, 0x11, 0x12, 0x78};
        message = {0x7F, asked[0], codes[random() % 6]};
      }
      const bool extended = random() % 4 == 0;
      const std::uint32_t id =
          static_cast<std::uint32_t>((extended ? 0x18DAF110u : 0x7E8u) + random() % 8);
      if (random() % 3 == 0) discovery.on_partial(now, id, extended);
      discovery.on_message(now, id, extended, message);
      now += random() % 100;
      discovery.on_time(now);
    }
    REQUIRE(discovery.state() != DiscoveryState::running);
    REQUIRE(requests <= 3 + 8 * 2 * 11);
    for (const char c : discovery.map().vin.view()) REQUIRE((c > 0x20 && c < 0x7F));
    for (const VanEcu& ecu : discovery.map().ecus())
      for (const char c : ecu.name.view()) REQUIRE((c >= 0x20 && c < 0x7F));
  }
}

TEST_CASE("discovery: the size of the machine") {
  MESSAGE("sizeof: Discovery ", sizeof(Discovery), ", IsotpReceiver ", sizeof(IsotpReceiver),
          ", SlcanReader and event ", sizeof(SlcanReader) + sizeof(SlcanEvent), " bytes");
  // Logger has 8 KiB for all of its parts.
  CHECK(sizeof(Discovery) + kMaxEcus * sizeof(IsotpReceiver) <= 3000);
}

}  // namespace packmile
