#include "benchvan/adapter.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace packmile::benchvan;

namespace {

std::string answer(Adapter& adapter, const std::string& line) {
  const Adapter::Step step = adapter.on_line(line, false);
  if (step.transmit) return "frame";
  return std::string(step.answer);
}

}  // namespace

// Source: examples in the comments of the Linux slcan driver.
TEST_CASE("adapter: frame lines as the Linux driver documents them") {
  const auto standard = read_frame_line("t4563112233");
  REQUIRE(standard.has_value());
  CHECK(standard->id == 0x456);
  CHECK_FALSE(standard->extended);
  CHECK(standard->length == 3);
  CHECK(standard->data[2] == 0x33);
  const auto extended = read_frame_line("T12ABCDEF2AA55");
  REQUIRE(extended.has_value());
  CHECK(extended->id == 0x12ABCDEF);
  CHECK(extended->extended);
  CHECK(extended->data[1] == 0x55);
  const auto remote = read_frame_line("r1230");
  REQUIRE(remote.has_value());
  CHECK(remote->remote);
  CHECK(read_frame_line("t1230").has_value());
}

TEST_CASE("adapter: what the grammar does not allow is no frame") {
  for (const std::string line :
       {"", "t", "t12", "t8000", "tFFF0", "T200000000", "t1239", "t123211", "t12321", "t12311",
        "t1231G1", "r123100", "t1230 ", "T12ABCDEF", "x1230"}) {
    CAPTURE(line);
    CHECK_FALSE(read_frame_line(line).has_value());
  }
  CHECK(read_frame_line("t123111").has_value());
  CHECK(read_frame_line("t1231aF").has_value());
}

TEST_CASE("adapter: settings only while closed, frames only while open") {
  Adapter adapter(false);
  CHECK(answer(adapter, "C") == "\a");
  CHECK(answer(adapter, "O") == "\a");  // no bit rate yet
  CHECK(answer(adapter, "t7DF0") == "\a");
  CHECK(answer(adapter, "S6") == "\r");
  CHECK(answer(adapter, "S9") == "\a");
  CHECK(answer(adapter, "L") == "\r");
  CHECK(adapter.hears(500));
  CHECK_FALSE(adapter.hears(250));
  CHECK(answer(adapter, "t7DF0") == "\a");  // listening only
  CHECK(answer(adapter, "S5") == "\a");
  CHECK(answer(adapter, "C") == "\r");
  CHECK_FALSE(adapter.hears(500));
  CHECK(answer(adapter, "O") == "\r");
  CHECK(answer(adapter, "t7DF0") == "frame");
  CHECK(answer(adapter, "Z1") == "\a");
  CHECK(answer(adapter, "V") == "V1013\r");
  CHECK(std::string(adapter.on_line("t7DF0", true).answer) == "\a");
}

TEST_CASE("adapter: a frame from the bus, plain and with a stamp that wraps each minute") {
  const BusFrame frame{.id = 0x18DAF110, .extended = true, .length = 2, .data = {0xAB, 0x01}};
  Adapter adapter(true);
  CHECK(std::string(adapter.frame_line(frame, 0)) == "T18DAF1102AB01\r");
  CHECK(answer(adapter, "Z1") == "\r");
  CHECK(std::string(adapter.frame_line(frame, 119999 * kNanosPerMs)) == "T18DAF1102AB01EA5F\r");
  CHECK(std::string(adapter.frame_line(frame, 120000 * kNanosPerMs)) == "T18DAF1102AB010000\r");
  CHECK(std::string(adapter.confirmation(frame)) == "Z\r");
}

TEST_CASE("adapter: a lost line shows once in the status flags") {
  Adapter adapter(false);
  adapter.note_lost_line();
  CHECK(answer(adapter, "F") == "F01\r");
  CHECK(answer(adapter, "F") == "F00\r");
}
