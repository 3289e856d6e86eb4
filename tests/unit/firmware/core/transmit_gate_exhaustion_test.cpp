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
  const bool physical = f.extended ? known.answered.contains(f.id) : f.id >= 0x7E0 && f.id <= 0x7E7;
  if (!functional && !physical) return false;
  const int bytes = f.data[0];
  switch (f.data[1]) {
    case 0x01:
      return bytes >= 2 && bytes <= 7;
    case 0x09:
      return bytes == 2;
    case 0x22: {
      if (bytes != 3 && bytes != 5 && bytes != 7) return false;
      for (int at = 2; at < bytes; at += 2) {
        const int did =
            f.data[static_cast<std::size_t>(at)] * 256 + f.data[static_cast<std::size_t>(at) + 1];
        if (did != 0xF190 && !(physical && known.dids.contains({f.id, did}))) return false;
      }
      return true;
    }
    default:
      return false;
  }
}

struct Gate {
  TransmitGate gate;
  Known known;

  Gate() { REQUIRE(gate.adapter_command(AdapterCommand::open) == GateOutcome::queued); }

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
constexpr std::array<std::array<std::uint8_t, 4>, 7> kMessages{{{2, 0x01, 0x0D, 0},
                                                                {7, 0x01, 0x9A, 0x0D},
                                                                {2, 0x09, 0x02, 0},
                                                                {3, 0x22, 0xF1, 0x90},
                                                                {3, 0x22, 0x12, 0x34},
                                                                {2, 0x10, 0x03, 0},
                                                                {2, 0x3E, 0x00, 0}}};

}  // namespace

TEST_CASE("gate, all of it: every 11-bit id, service byte and length byte") {
  Gate gate;
  Tally tally;
  for (std::uint32_t id = 0; id < 0x800; ++id)
    for (std::uint32_t service = 0; service < 256; ++service)
      for (std::uint32_t bytes = 0; bytes < 256; bytes += bytes < 9 || bytes % 16 < 2 ? 1 : 7)
        gate.offer(frame_with(id, false, static_cast<std::uint8_t>(bytes),
                              static_cast<std::uint8_t>(service), 0xF1, 0x90),
                   tally);
  MESSAGE("11-bit ids: " << tally.tried << " tried, " << tally.passed << " passed");
  // Nine ids: six lengths of 01, one of 09, and 22 F190 alone (the longer ones
  // hold identifiers that nobody listed).
  CHECK(tally.passed == 9 * (6 + 1 + 1));
}

TEST_CASE("gate, all of it: every 29-bit id of the diagnostic families, and others by chance") {
  for (int answering = 0; answering < 3; ++answering) {
    Gate gate;
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
    MESSAGE("29-bit ids, " << gate.known.answered.size() << " ECUs known: " << tally.tried
                           << " tried, " << tally.passed << " passed (seed " << kSeed << ")");
    CHECK(tally.passed == 4 * (1 + gate.known.answered.size()));
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
  static constexpr std::array<AllowedDid, 3> kList{
      {{0x7E0, 0x1234}, {0x7E4, 0xF45B}, {0x7E0, 0x0000}}};
  for (const bool listed : {false, true}) {
    Gate gate;
    Tally tally;
    if (listed) {
      gate.gate.allow_dids(kList);
      for (const AllowedDid& one : kList) gate.known.dids.insert({one.request_id, one.did});
    }
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
    MESSAGE("data identifiers, " << (listed ? 3 : 0) << " listed: " << tally.tried << " tried, "
                                 << tally.passed << " passed");
    // F190 of four ids (7E8 is nobody's request id), and the three of the list;
    // F190 with itself, and with the two listed for 7E0.
    CHECK(tally.passed == (listed ? 4u + 3u + 3u : 4u + 1u));
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

// Settings come from a card that anybody may have written.
TEST_CASE("gate, all of it: no settings sector opens the way to anything else") {
  constexpr unsigned kSeed = 11;
  std::mt19937 random(kSeed);
  std::uint64_t lines = 0;
  std::uint64_t taken = 0;
  for (int round = 0; round < 300; ++round) {
    test::FakeVan van(32 + 64);
    van.ecus = test::plain_van();
    std::array<std::uint8_t, kSectorPayloadBytes> payload{};
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
    std::copy(payload.begin(), payload.end(), van.card.begin() + kSectorHeaderBytes);
    seal_sector(std::span<std::uint8_t, kSectorBytes>(van.card.data(), kSectorBytes),
                {.kind = SectorKind::settings,
                 .payload_bytes = static_cast<std::uint16_t>(round % 4 == 3 ? 200 : size),
                 .log_id = 5,
                 .ring_sectors = 64});
    van.power_up();
    van.plug_adapter();
    van.run_until(30'000);
    taken += van.logger().settings_outcome() == SettingsOutcome::taken;
    for (const auto& [tick, line] : van.sent) {
      ++lines;
      static const std::set<std::string> kCommands{"C", "S5", "S6", "O", "L", "F", ""};
      if (kCommands.contains(line)) continue;
      CAPTURE(line);
      const bool eleven = line.size() == 21 && line[0] == 't' &&
                          (line.substr(1, 3) == "7DF" ||
                           (line.substr(1, 2) == "7E" && line[3] >= '0' && line[3] <= '7')) &&
                          line[4] == '8';
      const bool twenty_nine = line.size() == 26 && line[0] == 'T' &&
                               (line.substr(1, 8) == "18DB33F1" || line.substr(1, 4) == "18DA") &&
                               line[9] == '8';
      REQUIRE((eleven || twenty_nine));
      const std::string data = line.substr(eleven ? 5 : 10);
      const bool reads =
          data[0] == '0' &&
          (data.substr(2, 2) == "01" || data.substr(2, 2) == "09" || data.substr(2, 6) == "22F190");
      const bool flow = data.substr(0, 6) == "300000" || data.substr(0, 6) == "320000";
      REQUIRE((reads || flow));
    }
  }
  MESSAGE("hostile settings: 300 sectors, " << taken << " taken, " << lines
                                            << " lines sent, every one allowed (seed " << kSeed
                                            << ")");
  CHECK(lines > 1'000);
  CHECK(taken > 20);
}
