// The transmit gate against an allow-list written here a second time, from the
// page of SAE J1979 services and ISO 15765-4 ids: exactly the allowed set passes.
// Prints how many of each were tried and how many passed.
#include <doctest/doctest.h>

#include <array>
#include <random>
#include <set>
#include <string>

#include "core/transmit_gate.hpp"
#include "fake_van.hpp"

using namespace packmile;

namespace {

struct Tally {
  std::uint64_t tried = 0;
  std::uint64_t passed = 0;
};

// What a gate was told before: whom it may know.
struct Known {
  std::set<std::uint32_t> answered;              // 29-bit request ids
  std::set<std::pair<std::uint32_t, int>> dids;  // request id, identifier
};

bool allowed(const CanFrame& f, const Known& known) {
  if (f.remote || f.length != 8) return false;
  const bool functional = f.extended ? f.id == 0x18DB33F1 : f.id == 0x7DF;
  const bool of_one_ecu = f.extended ? (f.id & 0xFFFF00FF) == 0x18DA00F1 && f.id != 0x18DAF1F1
                                     : f.id >= 0x7E0 && f.id <= 0x7E7;
  if (!functional && !of_one_ecu) return false;
  const bool heard = functional || !f.extended || known.answered.contains(f.id);
  const int bytes = f.data[0];
  switch (f.data[1]) {
    case 0x01:
      return heard && bytes >= 2 && bytes <= 7;
    case 0x09:
      return heard && bytes == 2;
    case 0x22: {
      if (bytes != 3 && bytes != 5 && bytes != 7) return false;
      for (int at = 2; at < bytes; at += 2) {
        const int did =
            f.data[static_cast<std::size_t>(at)] * 256 + f.data[static_cast<std::size_t>(at) + 1];
        // Which of the items of service 01 there are is asked of all ECUs too;
        // the items themselves and the VIN of one.
        const bool of_a_standard =
            did == 0xF400 || (of_one_ecu && (did == 0xF190 || (did >= 0xF401 && did <= 0xF4FF)));
        if (heard && of_a_standard) continue;
        if (!of_one_ecu || !known.dids.contains({f.id, did})) return false;
      }
      return true;
    }
    default:
      return false;
  }
}

// Lists that a card could carry, and some that none can: to all ECUs, to a
// response id, to the tester's own address, outside the families.
constexpr std::array<AllowedDid, 13> kList{{{0x7E0, 0x1234},
                                            {0x7E4, 0x1234},
                                            {0x7E0, 0x0000},
                                            {0x7E0, 0x2E00},
                                            {0x18DA10F1, 0x1234},
                                            {0x18DA44F1, 0x1234},
                                            {0x7DF, 0x1234},
                                            {0x7E8, 0x1234},
                                            {0x123, 0x1234},
                                            {0x18DB33F1, 0x1234},
                                            {0x18DAF1F1, 0x1234},
                                            {0x18DA10F2, 0x1234},
                                            {0x1FFFFFFF, 0x1234}}};

struct Gate {
  TransmitGate gate;
  Known known;

  explicit Gate(bool listed = false) {
    REQUIRE(gate.adapter_command(AdapterCommand::open) == GateOutcome::queued);
    if (!listed) return;
    gate.allow_dids(kList);
    for (const AllowedDid& one : kList) known.dids.insert({one.request_id, one.did});
  }

  void offer(const CanFrame& frame, Tally& tally) {
    std::array<std::uint8_t, kGateQueueBytes> out;
    (void)gate.take_bytes(out);
    const GateOutcome outcome = gate.send_request(frame);
    const bool passed = outcome == GateOutcome::queued;
    ++tally.tried;
    tally.passed += passed;
    if (passed != allowed(frame, known) || passed == gate.empty()) {
      CAPTURE(frame.id);
      CAPTURE(frame.extended);
      CAPTURE(int{frame.length});
      CAPTURE(int{frame.data[0]});
      CAPTURE(int{frame.data[1]});
      FAIL("the gate and the allow-list disagree");
    }
  }
};

CanFrame frame_with(std::uint32_t id, bool extended, std::uint8_t bytes, std::uint8_t service,
                    std::uint8_t a = 0x0D, std::uint8_t b = 0x90) {
  return {.id = id, .extended = extended, .length = 8, .data = {bytes, service, a, b}};
}

// Messages whose form is right for some service, and some that never are.
constexpr std::array<std::array<std::uint8_t, 4>, 9> kMessages{{{2, 0x01, 0x0D, 0},
                                                                {7, 0x01, 0x9A, 0x0D},
                                                                {2, 0x09, 0x02, 0},
                                                                {3, 0x22, 0xF1, 0x90},
                                                                {3, 0x22, 0xF4, 0x00},
                                                                {3, 0x22, 0xF4, 0x9A},
                                                                {3, 0x22, 0x12, 0x34},
                                                                {2, 0x10, 0x03, 0},
                                                                {2, 0x3E, 0x00, 0}}};

}  // namespace

TEST_CASE("gate, all of it: every 11-bit id, service byte and length byte") {
  struct Case {
    bool listed;
    std::uint8_t a, b;
    std::uint64_t by_id;  // messages of 22 with these bytes, and zeros behind, that pass
  };
  // F190 to eight ECUs; 1234 of two, and behind it 0000 once or twice of one.
  for (const Case& one :
       {Case{false, 0xF1, 0x90, 8}, Case{false, 0x12, 0x34, 0}, Case{true, 0x12, 0x34, 2 + 2}}) {
    Gate gate(one.listed);
    Tally tally;
    for (std::uint32_t id = 0; id < 0x800; ++id)
      for (std::uint32_t service = 0; service < 256; ++service)
        for (std::uint32_t bytes = 0; bytes < 256; bytes += bytes < 9 || bytes % 16 < 2 ? 1 : 7)
          gate.offer(frame_with(id, false, static_cast<std::uint8_t>(bytes),
                                static_cast<std::uint8_t>(service), one.a, one.b),
                     tally);
    MESSAGE("11-bit ids, " << gate.known.dids.size() << " identifiers listed: " << tally.tried
                           << " tried, " << tally.passed << " passed");
    // Nine ids: six lengths of 01 and one of 09.
    CHECK(tally.passed == 9 * (6 + 1) + one.by_id);
  }
}

TEST_CASE("gate, all of it: every 29-bit id of the diagnostic families, and others by chance") {
  for (int round = 0; round < 6; ++round) {
    const int answering = round / 2;
    const bool listed = round % 2 == 1;
    Gate gate(listed);
    Tally tally;
    (void)gate.gate.send_request(frame_with(0x18DB33F1, true, 2, 0x01));
    for (std::uint32_t ecu = 0; ecu < 256; ++ecu) {
      if (answering == 0 || (answering == 1 && ecu != 0x10)) continue;
      gate.gate.ecu_answered(0x18DAF100 | ecu, true);
      // F1 is the tester itself.
      if (ecu != 0xF1) gate.known.answered.insert(0x18DA00F1 | ecu << 8);
    }
    for (const std::uint32_t family : {0x18DA0000u, 0x18DB0000u})
      for (std::uint32_t low = 0; low < 0x10000; ++low)
        for (const auto& m : kMessages)
          gate.offer(frame_with(family | low, true, m[0], m[1], m[2], m[3]), tally);
    constexpr unsigned kSeed = 4;
    std::mt19937 random(kSeed);
    for (int i = 0; i < 500'000; ++i) {
      const auto& m = kMessages[random() % kMessages.size()];
      const auto id = static_cast<std::uint32_t>(random() & 0x1FFFFFFF);
      if (id >> 16 == 0x18DA || id >> 16 == 0x18DB) continue;  // all of those were tried
      gate.offer(frame_with(id, true, m[0], m[1], m[2], m[3]), tally);
    }
    MESSAGE("29-bit ids, " << gate.known.answered.size() << " ECUs known, "
                           << gate.known.dids.size() << " identifiers listed: " << tally.tried
                           << " tried, " << tally.passed << " passed (seed " << kSeed << ")");
    // To all: two of 01, one of 09, F400; to one ECU F190 and F49A besides, and
    // to two of them 1234 of the list.
    CHECK(tally.passed == 4 + 6 * gate.known.answered.size() + (listed ? 2u : 0u));
  }
}

TEST_CASE("gate, all of it: every data length, remote frames, every byte 0 and 1") {
  Gate gate;
  Tally tally;
  for (const bool remote : {false, true})
    for (std::uint32_t length = 0; length < 256; ++length)
      for (std::uint32_t bytes = 0; bytes < 256; ++bytes)
        for (const int service : {0x01, 0x09, 0x22, 0x3E}) {
          CanFrame frame = frame_with(0x7E0, false, static_cast<std::uint8_t>(bytes),
                                      static_cast<std::uint8_t>(service), 0xF1, 0x90);
          frame.remote = remote;
          frame.length = static_cast<std::uint8_t>(length);
          gate.offer(frame, tally);
        }
  MESSAGE("data lengths and remote frames: " << tally.tried << " tried, " << tally.passed
                                             << " passed");
  CHECK(tally.passed == 6 + 1 + 1);
}

TEST_CASE("gate, all of it: every data identifier, with and without a list") {
  for (const bool listed : {false, true}) {
    Gate gate(listed);
    Tally tally;
    for (const std::uint32_t id : {0x7DFu, 0x7E0u, 0x7E1u, 0x7E4u, 0x7E8u})
      for (std::uint32_t did = 0; did < 0x10000; ++did)
        gate.offer(frame_with(id, false, 3, 0x22, static_cast<std::uint8_t>(did >> 8),
                              static_cast<std::uint8_t>(did)),
                   tally);
    // Two at once: the second decides as well.
    for (std::uint32_t did = 0; did < 0x10000; ++did) {
      CanFrame two = frame_with(0x7E0, false, 5, 0x22, 0xF1, 0x90);
      two.data[4] = static_cast<std::uint8_t>(did >> 8);
      two.data[5] = static_cast<std::uint8_t>(did);
      gate.offer(two, tally);
    }
    MESSAGE("data identifiers, " << gate.known.dids.size() << " listed: " << tally.tried
                                 << " tried, " << tally.passed << " passed");
    // F400 of four ids (7E8 is nobody's request id), F190 and the rest of F4xx of
    // three, and the four of the list; with F190 before them the same of one.
    const std::uint64_t alone = 4 + 3 * (1 + 255);
    CHECK(tally.passed == alone + (1 + 256) + (listed ? 4u + 3u : 0u));
  }
}

TEST_CASE("gate, all of it: flow control in and out of a reception, every first byte") {
  Tally tally;
  std::array<std::uint8_t, kGateQueueBytes> out;
  for (const bool receiving : {false, true})
    for (const bool asked : {false, true})
      for (std::uint32_t id = 0x7D0; id < 0x800; ++id)
        for (std::uint32_t first = 0; first < 256; ++first)
          for (std::uint32_t size = 0; size < 3; ++size) {
            TransmitGate gate;
            (void)gate.adapter_command(AdapterCommand::open);
            if (asked) (void)gate.send_request(frame_with(0x7E0, false, 2, 0x01));
            if (receiving) gate.reception_started(0x7E0, false);
            (void)gate.take_bytes(out);
            CanFrame frame = frame_with(id, false, static_cast<std::uint8_t>(first),
                                        static_cast<std::uint8_t>(size == 1), 0, 0);
            frame.data[2] = static_cast<std::uint8_t>(size == 2);
            frame.data[3] = 0xCC;
            const bool passed = gate.send_flow_control(frame) == GateOutcome::queued;
            ++tally.tried;
            tally.passed += passed;
            const bool right =
                receiving && asked && id == 0x7E0 && size == 0 && (first == 0x30 || first == 0x32);
            if (passed != right) {
              CAPTURE(id);
              CAPTURE(first);
              FAIL("flow control and the allow-list disagree");
            }
          }
  MESSAGE("flow control: " << tally.tried << " tried, " << tally.passed << " passed");
  CHECK(tally.passed == 2);
}

TEST_CASE("gate, all of it: a parked van is asked so often a day, and not once more") {
  TransmitGate gate;
  (void)gate.adapter_command(AdapterCommand::open);
  gate.set_parked(true, true);
  std::array<std::uint8_t, kGateQueueBytes> out;
  const CanFrame frame = frame_with(0x7E0, false, 2, 0x01);
  for (Tick day = 0; day < 3; ++day) {
    std::uint32_t passed = 0;
    for (Tick at = 0; at < 1'000; ++at) {
      (void)gate.take_bytes(out);
      gate.set_time(day * kParkedDayMs + at);
      const GateOutcome outcome = gate.send_request(frame);
      if (outcome == GateOutcome::queued) ++passed;
      CHECK((outcome == GateOutcome::queued || outcome == GateOutcome::used_up));
    }
    CHECK(passed == kParkedRequestsADay);
  }
  CHECK(gate.refused() == 0);
  gate.set_parked(false);
  (void)gate.take_bytes(out);
  CHECK(gate.send_request(frame) == GateOutcome::queued);
}

namespace {

std::vector<test::OwnersFields> some_owners(std::mt19937& random) {
  constexpr std::array<std::uint32_t, 10> kIds{0x7E0,      0x7E1, 0x7E4, 0x18DA10F1, 0x18DB33F1,
                                               0x18DAF1F1, 0x7DF, 0x7E8, 0x123,      0x7E0};
  constexpr std::array<std::uint32_t, 8> kDids{0x1234, 0xFD01, 0x2E00, 0xF19A,
                                               0x0001, 0xF4FF, 0x0000, 0x12345};
  std::vector<test::OwnersFields> owners(random() % 4);
  for (std::size_t i = 0; i < owners.size(); ++i) {
    const bool silly = random() % 8 == 0;
    owners[i] = {.id = static_cast<std::uint32_t>(1000 + i + (silly && random() % 4 == 0)),
                 .request_id = kIds[random() % (silly ? kIds.size() : 4)],
                 .did = kDids[random() % (silly ? kDids.size() : 6)],
                 .first_byte = static_cast<std::uint32_t>(silly ? random() % 300 : random() % 4),
                 .bytes = static_cast<std::uint32_t>(silly ? random() % 7 : 1 + random() % 4),
                 .is_signed = random() % 2 == 0,
                 .role = static_cast<int>(random() % (silly ? 12 : 9)),
                 .scale = silly ? 0.0 : 0.1,
                 .name = silly ? std::string("\x01\x1F", random() % 3) : "made_up"};
  }
  return owners;
}

// True: the settings were taken. Every line that was sent is allowed, by the
// settings themselves where they list an identifier.
bool play(test::FakeVan& van, std::span<const std::uint8_t> payload, std::size_t size,
          std::uint64_t& lines, std::uint64_t& by_list) {
  std::copy(payload.begin(), payload.end(), van.card.begin() + kSectorHeaderBytes);
  seal_sector(std::span<std::uint8_t, kSectorBytes>(van.card.data(), kSectorBytes),
              {.kind = SectorKind::settings,
               .payload_bytes = static_cast<std::uint16_t>(size),
               .log_id = 5,
               .ring_sectors = 64});
  van.power_up();
  van.plug_adapter();
  van.run_until(30'000);
  const bool taken = van.logger().settings_outcome() == SettingsOutcome::taken;
  std::set<std::pair<std::uint32_t, std::uint32_t>> listed;
  if (taken)
    for (const auto& one : test::dids_of_settings(payload.first(size))) listed.insert(one);
  for (const auto& [tick, line] : van.sent) {
    ++lines;
    static const std::set<std::string> kCommands{"C", "S5", "S6", "O", "L", "F", ""};
    if (kCommands.contains(line)) continue;
    CAPTURE(line);
    REQUIRE((line.size() == 21 || line.size() == 26));
    const bool eleven = line[0] == 't';
    REQUIRE((eleven ? line.size() == 21 : line[0] == 'T'));
    const std::size_t digits = eleven ? 3 : 8;
    const auto id = static_cast<std::uint32_t>(std::stoul(line.substr(1, digits), nullptr, 16));
    const bool to_all = id == (eleven ? 0x7DFu : 0x18DB33F1u);
    const bool to_one =
        eleven ? id >= 0x7E0 && id <= 0x7E7 : (id & 0xFFFF00FF) == 0x18DA00F1 && id != 0x18DAF1F1;
    REQUIRE((to_all || to_one));
    REQUIRE(line[1 + digits] == '8');
    const std::string data = line.substr(2 + digits);
    if (data.substr(0, 6) == "300000" || data.substr(0, 6) == "320000") {
      CHECK(to_one);
      continue;
    }
    REQUIRE(data[0] == '0');
    const std::string service = data.substr(2, 2);
    if (service == "01" || service == "09") continue;
    REQUIRE(service == "22");
    for (std::size_t at = 2; at < static_cast<std::size_t>(data[1] - '0'); at += 2) {
      const auto did = static_cast<std::uint32_t>(std::stoul(data.substr(2 * at, 4), nullptr, 16));
      if (did == 0xF400 || (to_one && (did == 0xF190 || did >> 8 == 0xF4))) continue;
      REQUIRE(to_one);
      REQUIRE(listed.contains({id, did}));
      ++by_list;
    }
  }
  return taken;
}

}  // namespace

// Settings come from a card that anybody may have written.
TEST_CASE("gate, all of it: no settings sector opens the way to anything else") {
  constexpr unsigned kSeed = 11;
  std::mt19937 random(kSeed);
  std::uint64_t lines = 0;
  std::uint64_t taken = 0;
  std::uint64_t by_list = 0;  // requests for an identifier that was listed
  for (int round = 0; round < 300; ++round) {
    test::FakeVan van(32 + 64);
    van.ecus = test::plain_van();
    std::array<std::uint8_t, kSectorPayloadBytes> payload{};
    if (round % 4 == 1) {
      // Definitions by libprotobuf, with numbers that are mostly in order.
      const std::vector<test::Bytes::value_type> record =
          test::encode_settings({.van = "heron", .owners = some_owners(random)});
      if (record.size() > payload.size()) continue;
      for (test::FakeEcu& ecu : van.ecus)
        for (const auto& [id, did] : test::dids_of_settings(record))
          ecu.dids[static_cast<std::uint16_t>(did)] = test::constant(test::Bytes(8, 0x11));
      std::copy(record.begin(), record.end(), payload.begin());
      taken += play(van, payload, record.size(), lines, by_list);
      continue;
    }
    // Records that are nearly settings: known fields with any values, and noise.
    std::size_t size = 2;
    const std::size_t fields = random() % 8;
    for (std::size_t i = 0; i < fields && size < 100; ++i) {
      payload[size++] =
          static_cast<std::uint8_t>((1 + random() % 9) << 3 | (random() % 8 == 0 ? 2 : 0));
      for (std::size_t more = random() % 3; more > 0; --more)
        payload[size++] = static_cast<std::uint8_t>(0x80 | random());
      payload[size++] = static_cast<std::uint8_t>(random() & 0x7F);
    }
    payload[0] = 0x22;
    payload[1] = static_cast<std::uint8_t>(size - 2);
    if (round % 4 == 3)
      for (std::size_t i = 0; i < 200; ++i) payload[i] = static_cast<std::uint8_t>(random());
    taken += play(van, payload, round % 4 == 3 ? 200 : size, lines, by_list);
  }
  MESSAGE("hostile settings: 300 sectors, " << taken << " taken, " << lines
                                            << " lines sent, every one allowed, " << by_list
                                            << " for a listed identifier (seed " << kSeed << ")");
  CHECK(lines > 1'000);
  CHECK(by_list > 100);
  CHECK(taken > 20);
}
