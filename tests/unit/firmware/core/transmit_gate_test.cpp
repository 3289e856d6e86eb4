#include "core/transmit_gate.hpp"

#include <doctest/doctest.h>

#include <random>
#include <set>
#include <string>

#include "bus_bytes.hpp"

namespace packmile {
namespace {

using test::Bytes;
using test::frame_of;
using test::padded;

std::string take_all(TransmitGate& gate) {
  std::array<std::uint8_t, kGateQueueBytes> out{};
  const std::size_t size = gate.take_bytes(out);
  return {out.begin(), out.begin() + static_cast<std::ptrdiff_t>(size)};
}

TransmitGate open_gate() {
  TransmitGate gate;
  REQUIRE(gate.adapter_command(AdapterCommand::open) == GateOutcome::queued);
  (void)take_all(gate);
  return gate;
}

// Lets one request through, or not; a refusal must be counted and leave nothing.
bool passes(TransmitGate& gate, const CanFrame& frame) {
  const std::uint32_t refused = gate.refused();
  const std::uint32_t requests = gate.requests();
  const GateOutcome outcome = gate.send_request(frame);
  const std::string bytes = take_all(gate);
  if (outcome == GateOutcome::queued) {
    REQUIRE(gate.refused() == refused);
    REQUIRE(gate.requests() == requests + 1);
    REQUIRE_FALSE(bytes.empty());
    return true;
  }
  REQUIRE(outcome == GateOutcome::refused);
  REQUIRE(gate.refused() == refused + 1);
  REQUIRE(gate.requests() == requests);
  REQUIRE(bytes.empty());
  return false;
}

CanFrame speed_request(std::uint32_t id, bool extended) {
  return padded(id, extended, {0x02, 0x01, 0x0D});
}

// All 29-bit ECUs are asked, this one answers.
void let_answer(TransmitGate& gate, std::uint32_t ecu) {
  REQUIRE(passes(gate, speed_request(0x18DB33F1, true)));
  gate.ecu_answered(0x18DAF100 | ecu, true);
}

bool is_open_11_bit_id(std::uint32_t id) { return id == 0x7DF || (id >= 0x7E0 && id <= 0x7E7); }

}  // namespace

TEST_CASE("gate: a request becomes its line") {
  TransmitGate gate = open_gate();
  CHECK(gate.send_request(speed_request(0x7DF, false)) == GateOutcome::queued);
  CHECK(take_all(gate) == "t7DF802010DCCCCCCCCCC\r");
  CHECK(gate.send_request(speed_request(0x18DB33F1, true)) == GateOutcome::queued);
  CHECK(take_all(gate) == "T18DB33F1802010DCCCCCCCCCC\r");
}

TEST_CASE("gate: of all 11-bit ids, nine") {
  TransmitGate gate = open_gate();
  int passed = 0;
  for (std::uint32_t id = 0; id <= 0x7FF; ++id) {
    const bool pass = passes(gate, speed_request(id, false));
    REQUIRE(pass == is_open_11_bit_id(id));
    passed += pass ? 1 : 0;
    // The same number as a 29-bit id is another id.
    REQUIRE_FALSE(passes(gate, speed_request(id, true)));
  }
  CHECK(passed == 9);
  // Numbers that are no ids, and would be 7DF if they were cut down.
  CHECK_FALSE(passes(gate, speed_request(0x7DF + 0x800, false)));
  CHECK_FALSE(passes(gate, speed_request(0x18DB33F1 | 0x20000000, true)));
  CHECK_FALSE(passes(gate, speed_request(0x18DB33F1, false)));
}

TEST_CASE("gate: a 29-bit ECU must have answered") {
  TransmitGate gate = open_gate();
  for (std::uint32_t ecu = 0; ecu <= 0xFF; ++ecu) {
    CAPTURE(ecu);
    const std::uint32_t id = 0x18DA00F1 | ecu << 8;
    CHECK_FALSE(passes(gate, speed_request(id, true)));
    // Heard, but nobody asked it, or it has 11 bits.
    gate.ecu_answered(0x18DAF100 | ecu, true);
    CHECK_FALSE(passes(gate, speed_request(id, true)));
    gate.ecu_answered(0x18DAF100 | ecu, false);
    CHECK_FALSE(passes(gate, speed_request(id, true)));
    let_answer(gate, ecu);
    // F1 is the tester itself.
    CHECK(passes(gate, speed_request(id, true)) == (ecu != 0xF1));
    CHECK_FALSE(passes(gate, speed_request(0x18DA00F1 | ((ecu + 1) & 0xFF) << 8, true)));
    gate.forget_ecus();
    CHECK_FALSE(passes(gate, speed_request(id, true)));
    gate.link_lost();
    REQUIRE(gate.adapter_command(AdapterCommand::open) == GateOutcome::queued);
    (void)take_all(gate);
  }
}

TEST_CASE("gate: with every 29-bit ECU registered, no other 29-bit id passes") {
  TransmitGate gate = open_gate();
  for (std::uint32_t ecu = 0; ecu <= 0xFF; ++ecu) let_answer(gate, ecu);
  const auto allowed = [](std::uint32_t id) {
    if (id == 0x18DB33F1) return true;
    return (id & 0xFFFF00FF) == 0x18DA00F1 && id != 0x18DAF1F1;
  };
  const auto check = [&](std::uint32_t id) {
    return passes(gate, speed_request(id, true)) == allowed(id);
  };
  for (std::uint32_t low = 0; low <= 0xFFFF; ++low) {
    REQUIRE(check(0x18DA0000 | low));
    REQUIRE(check(0x18DB0000 | low));
  }
  for (const std::uint32_t id : {0x18DB33F1u, 0x18DA10F1u})
    for (int bit = 0; bit < 29; ++bit) REQUIRE(check(id ^ 1u << bit));
  std::mt19937 random(1);
  for (int i = 0; i < 200000; ++i)
    REQUIRE(check(static_cast<std::uint32_t>(random() & 0x1FFFFFFF)));
}

TEST_CASE("gate: what is registered as an ECU must be a response id") {
  TransmitGate gate = open_gate();
  REQUIRE(passes(gate, speed_request(0x18DB33F1, true)));
  for (const std::uint32_t id : {0x18DA10F1u, 0x18DBF110u, 0x10u, 0x7E8u, 0x18DAF1F1u})
    gate.ecu_answered(id, true);
  for (std::uint32_t ecu = 0; ecu <= 0xFF; ++ecu)
    CHECK_FALSE(passes(gate, speed_request(0x18DA00F1 | ecu << 8, true)));
}

// Service list: SAE J1979 01 and 09; F190 of ISO 14229-1 for the VIN.
TEST_CASE("gate: all pairs of length byte and service") {
  TransmitGate gate = open_gate();
  for (unsigned length = 0; length <= 0xFF; ++length) {
    for (unsigned service = 0; service <= 0xFF; ++service) {
      // The data reads as F1 90 F1 90 .. so that only length and service decide.
      const CanFrame frame =
          padded(0x7E0, false,
                 {static_cast<std::uint8_t>(length), static_cast<std::uint8_t>(service), 0xF1, 0x90,
                  0xF1, 0x90, 0xF1, 0x90});
      bool allowed = false;
      if (service == 0x01) allowed = length >= 2 && length <= 7;
      if (service == 0x09) allowed = length == 2;
      if (service == 0x22) allowed = length == 3 || length == 5 || length == 7;
      REQUIRE(passes(gate, frame) == allowed);
    }
  }
}

TEST_CASE("gate: all 65536 pairs of service and first byte") {
  for (const std::uint32_t id : {0x7E0u, 0x7DFu}) {
    TransmitGate gate = open_gate();
    for (unsigned service = 0; service <= 0xFF; ++service)
      for (unsigned first = 0; first <= 0xFF; ++first) {
        const auto sid = static_cast<std::uint8_t>(service);
        const auto parameter = static_cast<std::uint8_t>(first);
        REQUIRE(passes(gate, padded(id, false, {0x02, sid, parameter})) ==
                (service == 0x01 || service == 0x09));
        REQUIRE(passes(gate, padded(id, false, {0x03, sid, parameter, 0x90})) ==
                (service == 0x01 ||
                 (service == 0x22 && id == 0x7E0 && (first == 0xF1 || first == 0xF4))));
      }
  }
}

// Services that write, actuate, unlock or keep awake (ISO 14229-1, SAE J1979).
TEST_CASE("gate: no way to the services that change a van") {
  const std::set<unsigned> never{0x04, 0x08, 0x10, 0x11, 0x14, 0x23, 0x24, 0x27, 0x28,
                                 0x29, 0x2A, 0x2C, 0x2E, 0x2F, 0x31, 0x34, 0x35, 0x36,
                                 0x37, 0x38, 0x3D, 0x3E, 0x83, 0x84, 0x85, 0x86, 0x87};
  const std::array<AllowedDid, 2> dids{{{0x7E0, 0xF40D}, {0x7E0, 0x0000}}};
  std::mt19937 random(2);
  TransmitGate gate = open_gate();
  gate.allow_dids(dids);
  let_answer(gate, 0x10);
  for (const unsigned service : never)
    for (unsigned length = 0; length <= 0xFF; ++length)
      for (int i = 0; i < 20; ++i) {
        CanFrame frame = padded(0, false, {});
        for (auto& byte : frame.data) byte = static_cast<std::uint8_t>(random());
        frame.data[0] = static_cast<std::uint8_t>(length);
        frame.data[1] = static_cast<std::uint8_t>(service);
        for (const std::uint32_t id : {0x7DFu, 0x7E0u, 0x7E7u}) {
          frame.id = id;
          frame.extended = false;
          REQUIRE_FALSE(passes(gate, frame));
        }
        for (const std::uint32_t id : {0x18DB33F1u, 0x18DA10F1u}) {
          frame.id = id;
          frame.extended = true;
          REQUIRE_FALSE(passes(gate, frame));
        }
      }
}

TEST_CASE("gate: DLC 8 and a data frame, nothing else") {
  TransmitGate gate = open_gate();
  for (std::uint8_t length = 0; length < 20; ++length) {
    CanFrame frame = speed_request(0x7DF, false);
    frame.length = length;
    CHECK(passes(gate, frame) == (length == 8));
    frame.remote = true;
    CHECK_FALSE(passes(gate, frame));
  }
}

TEST_CASE("gate: F190, F4xx, and the listed identifiers of the listed ECU alone") {
  TransmitGate gate = open_gate();
  const std::array<AllowedDid, 2> dids{{{0x7E1, 0x1234}, {0x18DA10F1, 0xFD5B}}};
  const CanFrame listed = padded(0x7E1, false, {0x03, 0x22, 0x12, 0x34});
  CHECK(passes(gate, padded(0x7E1, false, {0x03, 0x22, 0xF1, 0x90})));
  CHECK_FALSE(passes(gate, listed));
  gate.allow_dids(dids);
  int passed = 0;
  for (unsigned did = 0; did <= 0xFFFF; ++did) {
    const auto high = static_cast<std::uint8_t>(did >> 8);
    const auto low = static_cast<std::uint8_t>(did);
    passed += passes(gate, padded(0x7E1, false, {0x03, 0x22, high, low})) ? 1 : 0;
    REQUIRE(passes(gate, padded(0x7E0, false, {0x03, 0x22, high, low})) ==
            (did == 0xF190 || high == 0xF4));
    REQUIRE(passes(gate, padded(0x7DF, false, {0x03, 0x22, high, low})) == (did == 0xF400));
  }
  CHECK(passed == 1 + 256 + 1);
  CHECK(passes(gate, padded(0x7E1, false, {0x05, 0x22, 0x12, 0x34, 0xF1, 0x90})));
  // One that is not listed spoils the request, wherever it stands.
  CHECK_FALSE(passes(gate, padded(0x7E1, false, {0x05, 0x22, 0x12, 0x34, 0x12, 0x35})));
  CHECK_FALSE(passes(gate, padded(0x7E1, false, {0x07, 0x22, 0x12, 0x34, 0x12, 0x34, 0x12, 0x35})));
  CHECK_FALSE(passes(gate, padded(0x7E1, false, {0x04, 0x22, 0x12, 0x34, 0xCC})));
  // A 29-bit ECU that the owner lists need not have answered, for that alone.
  CHECK(passes(gate, padded(0x18DA10F1, true, {0x03, 0x22, 0xFD, 0x5B})));
  CHECK_FALSE(passes(gate, padded(0x18DA10F1, true, {0x03, 0x22, 0xF1, 0x90})));
  CHECK_FALSE(passes(gate, padded(0x18DA10F1, true, {0x05, 0x22, 0xFD, 0x5B, 0xF4, 0x0D})));
  CHECK_FALSE(passes(gate, padded(0x18DA10F1, true, {0x02, 0x01, 0x0D})));
  CHECK_FALSE(passes(gate, padded(0x18DA11F1, true, {0x03, 0x22, 0xFD, 0x5B})));
  let_answer(gate, 0x10);
  CHECK(passes(gate, padded(0x18DA10F1, true, {0x05, 0x22, 0xFD, 0x5B, 0xF4, 0x0D})));
  gate.allow_dids({});
  CHECK_FALSE(passes(gate, listed));
  // Even a list that says so opens nothing for all ECUs at once.
  const std::array<AllowedDid, 2> to_all{{{0x7DF, 0x1234}, {0x18DB33F1, 0x1234}}};
  gate.allow_dids(to_all);
  CHECK_FALSE(passes(gate, padded(0x7DF, false, {0x03, 0x22, 0x12, 0x34})));
  CHECK_FALSE(passes(gate, padded(0x18DB33F1, true, {0x03, 0x22, 0x12, 0x34})));
}

TEST_CASE("gate: no frame before open, none after listen-only, close or a lost link") {
  TransmitGate gate;
  CHECK_FALSE(passes(gate, speed_request(0x7DF, false)));
  for (const AdapterCommand command : {AdapterCommand::rate_500, AdapterCommand::rate_250,
                                       AdapterCommand::status, AdapterCommand::listen_only}) {
    REQUIRE(gate.adapter_command(command) == GateOutcome::queued);
    (void)take_all(gate);
    CHECK_FALSE(passes(gate, speed_request(0x7DF, false)));
  }
  for (const AdapterCommand command : {AdapterCommand::listen_only, AdapterCommand::close}) {
    REQUIRE(gate.adapter_command(AdapterCommand::open) == GateOutcome::queued);
    REQUIRE(gate.adapter_command(AdapterCommand::status) == GateOutcome::queued);
    (void)take_all(gate);
    CHECK(passes(gate, speed_request(0x7DF, false)));
    REQUIRE(gate.adapter_command(command) == GateOutcome::queued);
    (void)take_all(gate);
    CHECK_FALSE(passes(gate, speed_request(0x7DF, false)));
  }
  gate = open_gate();
  REQUIRE(gate.send_request(speed_request(0x7DF, false)) == GateOutcome::queued);
  gate.link_lost();
  CHECK(gate.empty());
  CHECK(take_all(gate).empty());
  CHECK_FALSE(passes(gate, speed_request(0x7DF, false)));
  // What was asked over the lost line entitles to nothing on the new one.
  REQUIRE(gate.adapter_command(AdapterCommand::open) == GateOutcome::queued);
  gate.reception_started(0x7E0, false);
  CHECK(gate.send_flow_control(padded(0x7E0, false, {0x30, 0, 0})) == GateOutcome::refused);
}

TEST_CASE("gate: flow control within a reception that was asked for") {
  const CanFrame flow = padded(0x7E0, false, {0x30, 0x00, 0x00});
  TransmitGate gate = open_gate();
  CHECK(gate.send_flow_control(flow) == GateOutcome::refused);  // nothing going on
  gate.reception_started(0x7E0, false);
  CHECK(gate.send_flow_control(flow) == GateOutcome::refused);  // never asked
  REQUIRE(passes(gate, speed_request(0x7E1, false)));
  CHECK(gate.send_flow_control(flow) == GateOutcome::refused);  // asked another
  REQUIRE(passes(gate, speed_request(0x7E0, false)));
  CHECK(gate.send_flow_control(flow) == GateOutcome::queued);
  CHECK(take_all(gate) == "t7E08300000CCCCCCCCCC\r");
  CHECK(gate.send_flow_control(flow) == GateOutcome::refused);  // one a request
  REQUIRE(passes(gate, speed_request(0x7E0, false)));
  gate.reception_ended(0x7E0, false);
  CHECK(gate.send_flow_control(flow) == GateOutcome::refused);  // over
  CHECK(gate.refused() == 5);
  CHECK(gate.requests() == 3);
  CHECK(gate.empty());
}

TEST_CASE("gate: a functional request is answered by all ECUs of its kind") {
  TransmitGate gate = open_gate();
  REQUIRE(passes(gate, speed_request(0x7DF, false)));
  gate.reception_started(0x18DA10F1, true);
  CHECK(gate.send_flow_control(padded(0x18DA10F1, true, {0x30, 0, 0})) == GateOutcome::refused);
  for (std::uint32_t id = 0x7E0; id <= 0x7E7; ++id) {
    gate.reception_started(id, false);
    CHECK(gate.send_flow_control(padded(id, false, {0x30, 0, 0})) == GateOutcome::queued);
    (void)take_all(gate);
  }
  REQUIRE(passes(gate, speed_request(0x18DB33F1, true)));
  CHECK(gate.send_flow_control(padded(0x18DA10F1, true, {0x32, 0, 0})) == GateOutcome::queued);
  CHECK(take_all(gate) == "T18DA10F18320000CCCCCCCCCC\r");
}

TEST_CASE("gate: flow control of 30 00 00 or 32 00 00, in a data frame of DLC 8") {
  int passed = 0;
  TransmitGate gate = open_gate();
  const auto flow_passes = [&](const CanFrame& frame) {
    REQUIRE(passes(gate, speed_request(0x7E0, false)));
    gate.reception_started(0x7E0, false);
    const bool pass = gate.send_flow_control(frame) == GateOutcome::queued;
    REQUIRE(take_all(gate).empty() != pass);
    gate.reception_ended(0x7E0, false);
    return pass;
  };
  for (unsigned status = 0; status <= 0xFF; ++status)
    for (unsigned other = 0; other <= 0xFF; ++other) {
      const auto s = static_cast<std::uint8_t>(status);
      const auto o = static_cast<std::uint8_t>(other);
      passed += flow_passes(padded(0x7E0, false, {s, o, 0})) ? 1 : 0;
      passed += flow_passes(padded(0x7E0, false, {s, 0, o})) ? 1 : 0;
    }
  CHECK(passed == 4);
  for (std::uint8_t length = 0; length <= 8; ++length) {
    CanFrame frame = padded(0x7E0, false, {0x30, 0, 0});
    frame.length = length;
    CHECK(flow_passes(frame) == (length == 8));
    frame.remote = true;
    CHECK_FALSE(flow_passes(frame));
  }
  // To everybody, to a response id, to the same number with 29 bits: never.
  for (const std::uint32_t id : {0x7DFu, 0x7E8u, 0x7E1u})
    CHECK_FALSE(flow_passes(padded(id, false, {0x30, 0, 0})));
  CHECK_FALSE(flow_passes(padded(0x7E0, true, {0x30, 0, 0})));
  // A request is no way round: flow control is not a single frame.
  CHECK_FALSE(passes(gate, padded(0x7E0, false, {0x30, 0, 0})));
}

TEST_CASE("gate: flow control of every id needs the reception of that very id") {
  TransmitGate gate = open_gate();
  REQUIRE(passes(gate, speed_request(0x7DF, false)));
  gate.reception_started(0x7E3, false);
  int queued = 0;
  for (std::uint32_t id = 0; id <= 0x7FF; ++id)
    if (gate.send_flow_control(padded(id, false, {0x30, 0, 0})) == GateOutcome::queued) {
      CHECK(id == 0x7E3);
      ++queued;
    }
  CHECK(queued == 1);
}

TEST_CASE("gate: commands come out whole and in order, taken in any pieces") {
  for (std::size_t piece = 1; piece <= 30; ++piece) {
    CAPTURE(piece);
    TransmitGate gate;
    for (const AdapterCommand command :
         {AdapterCommand::close, AdapterCommand::rate_500, AdapterCommand::rate_250,
          AdapterCommand::listen_only, AdapterCommand::open, AdapterCommand::status})
      REQUIRE(gate.adapter_command(command) == GateOutcome::queued);
    REQUIRE(gate.send_request(speed_request(0x7E0, false)) == GateOutcome::queued);
    std::string text;
    Bytes out(piece);
    while (const std::size_t size = gate.take_bytes(out)) {
      REQUIRE(size <= piece);
      text.append(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(size));
    }
    CHECK(text == "C\rS6\rS5\rL\rO\rF\rt7E0802010DCCCCCCCCCC\r");
    CHECK(gate.empty());
  }
}

TEST_CASE("gate: a full queue takes no part of a line and counts nothing") {
  TransmitGate gate = open_gate();
  std::string expected;
  for (int i = 0; i < 4; ++i) {
    REQUIRE(gate.send_request(speed_request(0x7E0, false)) == GateOutcome::queued);
    expected += "t7E0802010DCCCCCCCCCC\r";
  }
  CHECK(gate.send_request(speed_request(0x7E0, false)) == GateOutcome::full);
  gate.reception_started(0x7E0, false);
  const CanFrame flow = padded(0x7E0, false, {0x30, 0, 0});
  CHECK(gate.send_flow_control(flow) == GateOutcome::full);
  // Against the rules stays so, queue or no queue.
  CHECK(gate.send_request(padded(0x7E0, false, {0x01, 0x04})) == GateOutcome::refused);
  for (int i = 0; i < 4; ++i) {
    REQUIRE(gate.adapter_command(AdapterCommand::open) == GateOutcome::queued);
    expected += "O\r";
  }
  // It could not be said, so the adapter still counts as open.
  CHECK(gate.adapter_command(AdapterCommand::close) == GateOutcome::full);
  CHECK(gate.requests() == 4);
  CHECK(gate.refused() == 1);
  CHECK(take_all(gate) == expected);
  CHECK(gate.send_flow_control(flow) == GateOutcome::queued);
}

TEST_CASE("gate: requests while parked are counted apart") {
  TransmitGate gate = open_gate();
  CHECK(passes(gate, speed_request(0x7E0, false)));
  gate.set_parked(true);
  CHECK(passes(gate, speed_request(0x7E0, false)));
  CHECK(passes(gate, speed_request(0x7DF, false)));
  CHECK_FALSE(passes(gate, speed_request(0x123, false)));
  gate.set_parked(false);
  CHECK(passes(gate, speed_request(0x7E0, false)));
  CHECK(gate.requests() == 4);
  CHECK(gate.requests_while_parked() == 2);
}

}  // namespace packmile
