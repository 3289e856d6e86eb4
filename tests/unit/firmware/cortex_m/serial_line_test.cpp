#include "cortex_m/serial_line.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "core/slcan.hpp"

namespace {

using packmile::SlcanReader;
using packmile::cortex_m::ByteRing;
using packmile::cortex_m::SerialLine;

std::vector<std::uint8_t> take_all(SerialLine& line) {
  std::vector<std::uint8_t> out(SerialLine::kReceiveBytes);
  out.resize(line.take_received(out));
  return out;
}

}  // namespace

TEST_CASE(
    "byte ring: gives back what was put, in order, over its end and over 2^32 bytes' worth of "
    "laps") {
  ByteRing<8> ring;
  std::uint8_t next_in = 0;
  std::uint8_t next_out = 0;
  for (int round = 0; round < 10'000; ++round) {
    for (int i = 0; i < round % 9; ++i)
      if (ring.put(next_in)) ++next_in;
    CHECK(ring.size() <= 8);
    for (int i = 0; i < round % 7; ++i)
      if (const auto byte = ring.take()) CHECK(*byte == next_out++);
  }
  while (const auto byte = ring.take()) CHECK(*byte == next_out++);
  CHECK(next_out == next_in);
}

TEST_CASE("serial line: what was lost spoils the line that it was in, and no other") {
  // Two answers of which the middle is lost: one half of each makes a line that
  // looks good.
  const std::string first = "t7E8803410C1AF8000000\r";
  const std::string second = "t7E8803410D32AAAAAAAA\r";
  const std::string third = "t7E8804415B7FAAAAAAAA\r";
  for (std::size_t cut = 1; cut < first.size(); ++cut) {
    CAPTURE(cut);
    SerialLine line;
    for (const char c : first.substr(0, cut)) line.on_received(static_cast<std::uint8_t>(c));
    line.on_overrun();
    for (const char c : second.substr(cut)) line.on_received(static_cast<std::uint8_t>(c));
    for (const char c : third) line.on_received(static_cast<std::uint8_t>(c));
    SlcanReader reader;
    int frames = 0;
    for (const std::uint8_t byte : take_all(line))
      if (const auto event = reader.on_byte(byte);
          event && event->kind == packmile::SlcanEventKind::frame) {
        ++frames;
        CHECK(event->frame.data[1] == 0x41);
        CHECK(event->frame.data[2] == 0x5B);
      }
    CHECK(frames == 1);
  }
}

TEST_CASE("serial line: a full ring loses bytes and says so once there is room") {
  SerialLine line;
  for (std::size_t i = 0; i < SerialLine::kReceiveBytes + 100; ++i) line.on_received('x');
  CHECK(take_all(line).size() == SerialLine::kReceiveBytes);
  line.on_received('a');
  line.on_received('b');
  CHECK(take_all(line) == std::vector<std::uint8_t>{SerialLine::kSpoiled, 'a', 'b'});
}

TEST_CASE("serial line: no more is sent than there is room for, and all of it in order") {
  SerialLine line;
  std::vector<std::uint8_t> bytes(line.room_to_send());
  for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<std::uint8_t>(i);
  line.send(bytes);
  CHECK(line.room_to_send() == 0);
  CHECK(line.sending());
  for (const std::uint8_t byte : bytes) CHECK(line.next_to_send() == byte);
  CHECK_FALSE(line.sending());
  CHECK_FALSE(line.next_to_send());
}
