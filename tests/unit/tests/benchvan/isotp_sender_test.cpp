#include "benchvan/isotp_sender.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using namespace packmile::benchvan;

namespace {

Payload payload_of(std::size_t bytes) {
  Payload payload;
  for (std::size_t i = 0; i < bytes; ++i) payload.put(static_cast<std::uint8_t>(i));
  return payload;
}

BusFrame flow(std::uint8_t status, std::uint8_t block_size = 0, std::uint8_t st_min = 0) {
  return {.id = 0x7E0, .length = 8, .data = {status, block_size, st_min}};
}

// Sends all that is due at `now_ns`; each frame leaves at once.
std::vector<BusFrame> send_due(IsotpSender& sender, Nanos now_ns) {
  std::vector<BusFrame> frames;
  while (const auto frame = sender.take_frame(now_ns)) {
    frames.push_back(*frame);
    sender.on_sent(now_ns);
  }
  return frames;
}

// The number of bytes a receiver would have put together from in-order frames.
std::string joined(const std::vector<BusFrame>& frames, std::size_t length) {
  std::string text;
  std::uint8_t sequence = 1;
  for (const BusFrame& frame : frames) {
    if ((frame.data[0] & 0xF0) == 0x10) {
      text.append(frame.data.begin() + 2, frame.data.end());
    } else {
      if (frame.data[0] != (0x20 | (sequence++ & 0x0F))) return "wrong sequence";
      text.append(frame.data.begin() + 1, frame.data.end());
    }
  }
  text.resize(length);
  return text;
}

}  // namespace

// Source: ISO 15765-2 framing; the same frames reassembled by tshark and scapy.
TEST_CASE("isotp sender: a reply of 8 bytes is a first frame and one consecutive frame") {
  IsotpSender sender(0x7E8, false, kNBsNs);
  Payload message;
  for (const int byte : {0x41, 0x9A, 0x07, 0x00, 0x57, 0x80, 0x00, 0xFA}) {
    message.put(static_cast<std::uint8_t>(byte));
  }
  sender.start(0, message);
  const auto first = send_due(sender, 0);
  REQUIRE(first.size() == 1);
  CHECK(first[0].data == std::array<std::uint8_t, 8>{0x10, 0x08, 0x41, 0x9A, 0x07, 0, 0x57, 0x80});
  CHECK(first[0].length == 8);
  sender.on_flow_control(1, flow(0x30));
  const auto second = send_due(sender, 1);
  REQUIRE(second.size() == 1);
  CHECK(second[0].data[0] == 0x21);
  CHECK(second[0].data[1] == 0x00);
  CHECK(second[0].data[2] == 0xFA);
  CHECK(sender.idle());
  CHECK(sender.aborted() == 0);
}

// Source: ceil((L - 6) / 7) consecutive frames: 8..13 1, 14..20 2, 62 8, 63 9, 130 18.
TEST_CASE("isotp sender: every length comes out whole, with the right number of frames") {
  for (std::size_t length = 1; length <= Payload::kMaxBytes; ++length) {
    CAPTURE(length);
    IsotpSender sender(0x7E8, false, kNBsNs);
    const Payload message = payload_of(length);
    sender.start(0, message);
    std::vector<BusFrame> frames = send_due(sender, 0);
    REQUIRE(frames.size() == 1);
    if (length <= 7) {
      CHECK(frames[0].data[0] == length);
      CHECK(sender.idle());
      continue;
    }
    sender.on_flow_control(0, flow(0x30));
    for (const BusFrame& frame : send_due(sender, 0)) frames.push_back(frame);
    CHECK(frames.size() == 1 + (length - 6 + 6) / 7);
    CHECK(joined(frames, length) == std::string(message.bytes().begin(), message.bytes().end()));
    CHECK(sender.idle());
  }
}

TEST_CASE("isotp sender: block size asks for another flow control, STmin spaces the frames") {
  IsotpSender sender(0x7E8, false, kNBsNs);
  sender.start(0, payload_of(60));  // 8 consecutive frames
  CHECK(send_due(sender, 0).size() == 1);
  sender.on_flow_control(0, flow(0x30, 3, 5));
  int frames = 0;
  Nanos now_ns = 0;
  while (sender.deadline_ns() < 100 * kNanosPerMs) {
    CHECK(sender.deadline_ns() == frames * 5 * kNanosPerMs);
    now_ns = sender.deadline_ns();
    frames += static_cast<int>(send_due(sender, now_ns).size());
  }
  CHECK(frames == 3);
  CHECK(sender.deadline_ns() == now_ns + kNBsNs);
  sender.on_flow_control(now_ns, flow(0x30, 0, 0));
  CHECK(send_due(sender, now_ns).size() == 5);
  CHECK(sender.idle());
}

// Source: Linux net/can/isotp.c.
TEST_CASE("isotp sender: STmin codes") {
  CHECK(st_min_ns(0x00) == 0);
  CHECK(st_min_ns(0x7F) == 127 * kNanosPerMs);
  CHECK(st_min_ns(0xF1) == 100000);
  CHECK(st_min_ns(0xF9) == 900000);
  for (const int reserved : {0x80, 0xF0, 0xFA, 0xFF}) {
    CHECK(st_min_ns(static_cast<std::uint8_t>(reserved)) == 127 * kNanosPerMs);
  }
}

TEST_CASE("isotp sender: no flow control, overflow and endless waiting end the message") {
  IsotpSender sender(0x7E8, false, kNBsNs);
  sender.start(0, payload_of(20));
  (void)send_due(sender, 0);
  CHECK(sender.deadline_ns() == kNBsNs);
  CHECK_FALSE(sender.take_frame(kNBsNs - 1).has_value());
  CHECK_FALSE(sender.idle());
  CHECK_FALSE(sender.take_frame(kNBsNs).has_value());
  CHECK(sender.idle());
  CHECK(sender.aborted() == 1);

  sender.start(0, payload_of(20));
  (void)send_due(sender, 0);
  sender.on_flow_control(1, flow(0x32));
  CHECK(sender.idle());
  CHECK(sender.aborted() == 2);

  sender.start(0, payload_of(20));
  (void)send_due(sender, 0);
  for (int i = 0; i < kMaxWaits; ++i) sender.on_flow_control(i, flow(0x31));
  CHECK(sender.deadline_ns() == kMaxWaits - 1 + kNBsNs);
  CHECK_FALSE(sender.idle());
  sender.on_flow_control(99, flow(0x31));
  CHECK(sender.idle());
  CHECK(sender.aborted() == 3);
}

TEST_CASE("isotp sender: a flow control that nobody waits for changes nothing") {
  IsotpSender sender(0x7E8, false, kNBsNs);
  sender.on_flow_control(0, flow(0x30));
  CHECK(sender.deadline_ns() == kNever);
  sender.start(0, payload_of(20));
  sender.on_flow_control(0, flow(0x32));
  CHECK(sender.deadline_ns() == 0);
  CHECK(send_due(sender, 0).size() == 1);
}
