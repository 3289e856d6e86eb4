#include "core/isotp_receiver.hpp"

#include <doctest/doctest.h>

#include <random>
#include <string>

#include "bus_bytes.hpp"

namespace packmile {

// Found by argument-dependent lookup: doctest prints the name.
static doctest::String toString(IsotpOutcome outcome) {
  switch (outcome) {
    case IsotpOutcome::ignored:
      return "ignored";
    case IsotpOutcome::started:
      return "started";
    case IsotpOutcome::collecting:
      return "collecting";
    case IsotpOutcome::message:
      return "message";
    case IsotpOutcome::wrong_sequence:
      return "wrong_sequence";
    case IsotpOutcome::timed_out:
      return "timed_out";
    case IsotpOutcome::too_long:
      return "too_long";
  }
  return "?";
}

namespace {

using test::Bytes;
using test::frame_of;
using test::padded;
using test::segmented;

CanFrame reply(std::initializer_list<std::uint8_t> data) { return frame_of(0x7E8, false, data); }

Bytes message_of(const IsotpReceiver& receiver) {
  return Bytes(receiver.message().begin(), receiver.message().end());
}

Bytes counting(std::size_t size) {
  Bytes bytes(size);
  for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::uint8_t>(0x40 + i);
  return bytes;
}

const Bytes kVinReply{0x49, 0x02, 0x01, '1', 'M', '8', 'G', 'D', 'M', '9',
                      'A',  'X',  'K',  'P', '0', '4', '2', '7', '8', '8'};

}  // namespace

// Source: framing ISO 15765-2; VIN 1M8GDM9AXKP042788 passes the check digit of
// 49 CFR 565; the same frames were read by tshark 4.0.17.
TEST_CASE("isotp: a VIN reply of three frames becomes one message") {
  IsotpReceiver receiver{0x7E8, 0x7E0, false};
  const auto first = receiver.on_frame(5, reply({0x10, 0x14, 0x49, 0x02, 0x01, 0x31, 0x4D, 0x38}));
  REQUIRE(first.outcome == IsotpOutcome::started);
  REQUIRE(first.flow_control.has_value());
  CHECK(*first.flow_control == padded(0x7E0, false, {0x30, 0x00, 0x00}));
  CHECK(receiver.message().empty());
  const auto second = receiver.on_frame(7, reply({0x21, 0x47, 0x44, 0x4D, 0x39, 0x41, 0x58, 0x4B}));
  CHECK(second.outcome == IsotpOutcome::collecting);
  CHECK_FALSE(second.flow_control.has_value());
  const auto third = receiver.on_frame(9, reply({0x22, 0x50, 0x30, 0x34, 0x32, 0x37, 0x38, 0x38}));
  REQUIRE(third.outcome == IsotpOutcome::message);
  const auto message = receiver.message();
  CHECK(std::string(message.begin() + 3, message.end()) == "1M8GDM9AXKP042788");
  CHECK(receiver.begun() == 5);
  CHECK(receiver.dropped() == 0);
  CHECK_FALSE(receiver.deadline().has_value());
}

// Source: vectors reassembled by tshark 4.0.17 and scapy 2.5.0.
TEST_CASE("isotp: messages of 2, 7, 8 and 15 bytes") {
  IsotpReceiver receiver{0x7E8, 0x7E0, false};
  CHECK(receiver.on_frame(0, reply({0x02, 0x01, 0x0D, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC})).outcome ==
        IsotpOutcome::message);
  CHECK(message_of(receiver) == Bytes{0x01, 0x0D});
  CHECK(receiver.on_frame(0, reply({0x07, 0x01, 0x05, 0x0D, 0x1F, 0x42, 0x46, 0x5B})).outcome ==
        IsotpOutcome::message);
  CHECK(message_of(receiver) == Bytes{0x01, 0x05, 0x0D, 0x1F, 0x42, 0x46, 0x5B});
  CHECK(receiver.on_frame(0, reply({0x10, 0x08, 0x41, 0x9A, 0x07, 0x00, 0x57, 0x80})).outcome ==
        IsotpOutcome::started);
  CHECK(receiver.on_frame(0, reply({0x21, 0x00, 0xFA, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC})).outcome ==
        IsotpOutcome::message);
  CHECK(message_of(receiver) == Bytes{0x41, 0x9A, 0x07, 0x00, 0x57, 0x80, 0x00, 0xFA});
  (void)receiver.on_frame(0, reply({0x10, 0x0F, 0x41, 0x05, 0x50, 0x0D, 0x32, 0x1F}));
  (void)receiver.on_frame(0, reply({0x21, 0x0E, 0x10, 0x42, 0x36, 0xB0, 0x46, 0x4B}));
  // The last frame may be short.
  CHECK(receiver.on_frame(0, reply({0x22, 0x5B, 0xC8})).outcome == IsotpOutcome::message);
  CHECK(message_of(receiver) == Bytes{0x41, 0x05, 0x50, 0x0D, 0x32, 0x1F, 0x0E, 0x10, 0x42, 0x36,
                                      0xB0, 0x46, 0x4B, 0x5B, 0xC8});
}

// Source: number of consecutive frames from the length, as counted by tshark.
TEST_CASE("isotp: every length that fits, the sequence number wrapping") {
  for (std::size_t size = 1; size <= kIsotpMaxBytes; ++size) {
    CAPTURE(size);
    IsotpReceiver receiver{0x18DAF110, 0x18DA10F1, true};
    const auto frames = segmented(0x18DAF110, true, counting(size));
    if (size == 130) CHECK(frames.size() == 19);
    if (size == 62) CHECK(frames.size() == 9);
    if (size == 63) CHECK(frames.size() == 10);
    for (std::size_t i = 0; i < frames.size(); ++i) {
      const auto step = receiver.on_frame(i, frames[i]);
      const bool last = i + 1 == frames.size();
      REQUIRE((step.outcome == IsotpOutcome::message) == last);
      if (step.flow_control) CHECK(*step.flow_control == padded(0x18DA10F1, true, {0x30, 0, 0}));
    }
    CHECK(message_of(receiver) == counting(size));
    CHECK(receiver.dropped() == 0);
  }
}

TEST_CASE("isotp: a longer message is refused with overflow, never stored in part") {
  for (unsigned size = kIsotpMaxBytes + 1; size <= 4095; ++size) {
    IsotpReceiver receiver{0x7E8, 0x7E0, false};
    const auto step =
        receiver.on_frame(0, reply({static_cast<std::uint8_t>(0x10 | size >> 8),
                                    static_cast<std::uint8_t>(size), 1, 2, 3, 4, 5, 6}));
    REQUIRE(step.outcome == IsotpOutcome::too_long);
    REQUIRE(step.flow_control.has_value());
    REQUIRE(*step.flow_control == padded(0x7E0, false, {0x32, 0x00, 0x00}));
    REQUIRE(receiver.dropped() == 1);
    REQUIRE(receiver.message().empty());
    REQUIRE_FALSE(receiver.collecting());
  }
}

TEST_CASE("isotp: a first frame with 32-bit length is refused and counted") {
  IsotpReceiver receiver{0x7E8, 0x7E0, false};
  for (const std::uint32_t size : {4096u, 65536u, 0xFFFFFFFFu}) {
    const auto step = receiver.on_frame(
        0, reply({0x10, 0x00, static_cast<std::uint8_t>(size >> 24),
                  static_cast<std::uint8_t>(size >> 16), static_cast<std::uint8_t>(size >> 8),
                  static_cast<std::uint8_t>(size), 0x41, 0x9A}));
    CHECK(step.outcome == IsotpOutcome::too_long);
    CHECK(*step.flow_control == padded(0x7E0, false, {0x32, 0x00, 0x00}));
  }
  CHECK(receiver.dropped() == 3);
  // Only longer ones may be written so (ISO 15765-2, from memory): no answer.
  const auto step = receiver.on_frame(0, reply({0x10, 0x00, 0, 0, 0x0F, 0xFF, 0x41, 0x9A}));
  CHECK(step.outcome == IsotpOutcome::ignored);
  CHECK_FALSE(step.flow_control.has_value());
  CHECK(receiver.dropped() == 4);
}

TEST_CASE("isotp: malformed and foreign frames disturb no transfer") {
  struct Case {
    CanFrame frame;
    std::uint32_t dropped;
  };
  CanFrame remote = reply({0x02, 0x41, 0x0D});
  remote.remote = true;
  CanFrame empty = reply({});
  const Case cases[] = {
      {reply({0x00, 1, 2, 3, 4, 5, 6, 7}), 1},                 // single, length 0
      {reply({0x08, 1, 2, 3, 4, 5, 6, 7}), 1},                 // single, longer than a frame
      {reply({0x03, 0x41, 0x0D}), 1},                          // single, data cut off
      {reply({0x01}), 1},                                      // the same
      {empty, 1},                                              // no data at all
      {reply({0x10, 0x14, 1, 2, 3, 4, 5}), 1},                 // first, DLC 7
      {reply({0x10, 0x07, 1, 2, 3, 4, 5, 6}), 1},              // first, would fit a single
      {reply({0x10, 0x01, 1, 2, 3, 4, 5, 6}), 1},              // the same
      {reply({0x21, 1, 2, 3, 4, 5, 6}), 1},                    // consecutive in the middle, short
      {reply({0x30, 0, 0, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC}), 0},  // flow control
      {reply({0x40, 1, 2, 3, 4, 5, 6, 7}), 0},                 // no such type
      {reply({0xF0, 1, 2, 3, 4, 5, 6, 7}), 0},                 // no such type
      {remote, 0},
      {frame_of(0x7E9, false, {0x02, 0x41, 0x0D}), 0},  // another ECU
      {frame_of(0x7E8, true, {0x02, 0x41, 0x0D}), 0},   // same number, 29 bits
  };
  for (const Case& one : cases) {
    CAPTURE(&one - cases);
    IsotpReceiver idle{0x7E8, 0x7E0, false};
    CHECK(idle.on_frame(0, one.frame).outcome == IsotpOutcome::ignored);
    CHECK(idle.message().empty());

    IsotpReceiver receiver{0x7E8, 0x7E0, false};
    const auto frames = segmented(0x7E8, false, kVinReply);
    (void)receiver.on_frame(0, frames[0]);
    const auto step = receiver.on_frame(1, one.frame);
    CHECK(step.outcome == IsotpOutcome::ignored);
    CHECK_FALSE(step.flow_control.has_value());
    CHECK(receiver.dropped() == one.dropped);
    CHECK(receiver.deadline() == kNCrMs);
    (void)receiver.on_frame(2, frames[1]);
    CHECK(receiver.on_frame(3, frames[2]).outcome == IsotpOutcome::message);
    CHECK(message_of(receiver) == kVinReply);
  }
}

TEST_CASE("isotp: a short last frame must hold the bytes that are due") {
  for (std::uint8_t length = 0; length <= 8; ++length) {
    CAPTURE(int{length});
    IsotpReceiver receiver{0x7E8, 0x7E0, false};
    (void)receiver.on_frame(0, reply({0x10, 0x09, 1, 2, 3, 4, 5, 6}));
    CanFrame last = reply({0x21, 7, 8, 9, 0xCC, 0xCC, 0xCC, 0xCC});
    last.length = length;
    CHECK(receiver.on_frame(0, last).outcome ==
          (length >= 4 ? IsotpOutcome::message : IsotpOutcome::ignored));
  }
}

TEST_CASE("isotp: any wrong sequence number drops the transfer, the rest of it is ignored") {
  const auto frames = segmented(0x7E8, false, counting(130));
  for (std::size_t at = 1; at < frames.size(); ++at) {
    for (unsigned number = 0; number < 16; ++number) {
      if (number == at % 16) continue;
      IsotpReceiver receiver{0x7E8, 0x7E0, false};
      for (std::size_t i = 0; i < at; ++i) (void)receiver.on_frame(0, frames[i]);
      CanFrame wrong = frames[at];
      wrong.data[0] = static_cast<std::uint8_t>(0x20 | number);
      REQUIRE(receiver.on_frame(0, wrong).outcome == IsotpOutcome::wrong_sequence);
      REQUIRE(receiver.dropped() == 1);
      REQUIRE(receiver.message().empty());
      REQUIRE_FALSE(receiver.deadline().has_value());
      for (std::size_t i = at; i < frames.size(); ++i)
        REQUIRE(receiver.on_frame(0, frames[i]).outcome == IsotpOutcome::ignored);
      REQUIRE(receiver.dropped() == 1);
    }
  }
}

TEST_CASE("isotp: a new first or single frame ends the old transfer") {
  const auto frames = segmented(0x7E8, false, kVinReply);
  IsotpReceiver receiver{0x7E8, 0x7E0, false};
  (void)receiver.on_frame(0, frames[0]);
  (void)receiver.on_frame(0, frames[1]);
  const auto again = receiver.on_frame(40, frames[0]);
  CHECK(again.outcome == IsotpOutcome::started);
  CHECK(again.flow_control.has_value());
  CHECK(receiver.begun() == 40);
  CHECK(receiver.dropped() == 1);
  CHECK(receiver.on_frame(50, reply({0x03, 0x7F, 0x09, 0x78})).outcome == IsotpOutcome::message);
  CHECK(receiver.dropped() == 2);
  CHECK(message_of(receiver) == Bytes{0x7F, 0x09, 0x78});
  CHECK(receiver.begun() == 50);
  CHECK(receiver.on_frame(51, frames[1]).outcome == IsotpOutcome::ignored);
  // Too long: the old one is gone all the same.
  (void)receiver.on_frame(60, frames[0]);
  CHECK(receiver.on_frame(61, reply({0x1F, 0xFF, 1, 2, 3, 4, 5, 6})).outcome ==
        IsotpOutcome::too_long);
  CHECK(receiver.dropped() == 4);
  CHECK_FALSE(receiver.collecting());
}

// No source: every place at which the reply can stop. No message, no stale bytes.
TEST_CASE("isotp: a reply cut short is dropped at its deadline and counted") {
  const auto frames = segmented(0x7E8, false, counting(130));
  for (std::size_t seen = 1; seen < frames.size(); ++seen) {
    CAPTURE(seen);
    IsotpReceiver receiver{0x7E8, 0x7E0, false};
    for (std::size_t i = 0; i < seen; ++i) (void)receiver.on_frame(100 * i, frames[i]);
    const Tick due = 100 * (seen - 1) + kNCrMs;
    REQUIRE(receiver.deadline() == due);
    CHECK(receiver.on_time(due - 1) == IsotpOutcome::ignored);
    CHECK(receiver.collecting());
    CHECK(receiver.on_time(due) == IsotpOutcome::timed_out);
    CHECK(receiver.message().empty());
    CHECK(receiver.dropped() == 1);
    CHECK(receiver.on_time(due + 5000) == IsotpOutcome::ignored);
    // The next message has nothing of the old one.
    (void)receiver.on_frame(due, reply({0x02, 0x41, 0x0D}));
    CHECK(message_of(receiver) == Bytes{0x41, 0x0D});
  }
}

TEST_CASE("isotp: a frame that comes after the deadline finds the receiver idle") {
  const auto frames = segmented(0x7E8, false, kVinReply);
  IsotpReceiver receiver{0x7E8, 0x7E0, false};
  (void)receiver.on_frame(0, frames[0]);
  CHECK(receiver.on_frame(kNCrMs, frames[1]).outcome == IsotpOutcome::timed_out);
  CHECK(receiver.dropped() == 1);
  (void)receiver.on_frame(2000, frames[0]);
  CHECK(receiver.on_frame(3000, reply({0x02, 0x41, 0x0D})).outcome == IsotpOutcome::message);
  CHECK(receiver.dropped() == 2);
}

TEST_CASE("isotp: eight ECUs interleave frame by frame") {
  std::array<IsotpReceiver, 8> receivers;
  std::vector<std::vector<CanFrame>> frames;
  for (std::uint32_t ecu = 0; ecu < 8; ++ecu) {
    receivers[ecu] = IsotpReceiver{0x7E8 + ecu, 0x7E0 + ecu, false};
    Bytes message = counting(100);
    message[50] = static_cast<std::uint8_t>(ecu);
    frames.push_back(segmented(0x7E8 + ecu, false, message));
  }
  for (std::size_t i = 0; i < frames[0].size(); ++i)
    for (const auto& of_ecu : frames)
      for (IsotpReceiver& receiver : receivers) (void)receiver.on_frame(i, of_ecu[i]);
  for (std::size_t ecu = 0; ecu < 8; ++ecu) {
    REQUIRE(receivers[ecu].message().size() == 100);
    CHECK(receivers[ecu].message()[50] == ecu);
    CHECK(receivers[ecu].dropped() == 0);
  }
}

TEST_CASE("isotp: abandon drops silently, one made without ids takes nothing") {
  IsotpReceiver receiver{0x7E8, 0x7E0, false};
  (void)receiver.on_frame(0, segmented(0x7E8, false, kVinReply)[0]);
  receiver.abandon();
  CHECK_FALSE(receiver.deadline().has_value());
  CHECK(receiver.on_time(9999) == IsotpOutcome::ignored);
  CHECK(receiver.dropped() == 0);
  IsotpReceiver none;
  CHECK(none.on_frame(0, frame_of(0, false, {0x01, 0x41})).outcome == IsotpOutcome::ignored);
}

TEST_CASE("isotp: any frames at any times keep the bounds") {
  std::mt19937 random(42);
  IsotpReceiver receiver{0x7E8, 0x7E0, false};
  Tick now = 0;
  int messages = 0;
  for (int i = 0; i < 500000; ++i) {
    CanFrame frame = reply({});
    frame.length = static_cast<std::uint8_t>(random() % 12);
    for (auto& byte : frame.data) byte = static_cast<std::uint8_t>(random() & 0x3F);
    // Mostly consecutive frames that continue, or nothing long would ever come.
    if (random() % 3 != 0) frame.length = 8;
    now += random() % 50;
    const auto step = receiver.on_frame(now, frame);
    const bool has_flow =
        step.outcome == IsotpOutcome::started || step.outcome == IsotpOutcome::too_long;
    REQUIRE(step.flow_control.has_value() == has_flow);
    REQUIRE(receiver.message().size() <= kIsotpMaxBytes);
    REQUIRE(receiver.deadline().has_value() == receiver.collecting());
    if (step.outcome == IsotpOutcome::message) {
      REQUIRE_FALSE(receiver.message().empty());
      ++messages;
    }
  }
  CHECK(messages > 1000);
}

}  // namespace packmile
