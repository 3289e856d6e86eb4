#include "core/slcan.hpp"

#include <doctest/doctest.h>

#include <cstdio>
#include <random>
#include <regex>
#include <string>

#include "bus_bytes.hpp"

namespace packmile {
namespace {

using test::events_of;
using test::frame_of;

SlcanEvent only_event(std::string_view text) {
  const auto events = events_of(text);
  REQUIRE(events.size() == 1);
  return events[0];
}

std::string written(const CanFrame& frame) {
  std::array<std::uint8_t, kMaxSlcanLineBytes> line{};
  return {reinterpret_cast<const char*>(line.data()), write_slcan(frame, line)};
}

std::string hex(unsigned value, int digits) {
  char text[16];
  std::snprintf(text, sizeof text, "%0*X", digits, value);
  return text;
}

// The grammar once more, as regular expressions, for lines without their end.
SlcanEventKind kind_by_grammar(const std::string& line, bool bel) {
  static const std::regex frame(
      "(t[0-7][0-9A-Fa-f]{2}|T[01][0-9A-Fa-f]{7})"
      "(0|1[0-9A-Fa-f]{2}|2[0-9A-Fa-f]{4}|3[0-9A-Fa-f]{6}|4[0-9A-Fa-f]{8}|5[0-9A-Fa-f]{10}"
      "|6[0-9A-Fa-f]{12}|7[0-9A-Fa-f]{14}|8[0-9A-Fa-f]{16})"
      "([0-9A-Da-d][0-9A-Fa-f]{3}|[Ee][0-9][0-9A-Fa-f]{2}|[Ee][Aa][0-4][0-9A-Fa-f]|[Ee][Aa]5[0-9A-"
      "Fa-f])?");
  static const std::regex remote(
      "(r[0-7][0-9A-Fa-f]{2}|R[01][0-9A-Fa-f]{7})[0-8]"
      "([0-9A-Da-d][0-9A-Fa-f]{3}|[Ee][0-9][0-9A-Fa-f]{2}|[Ee][Aa][0-4][0-9A-Fa-f]|[Ee][Aa]5[0-9A-"
      "Fa-f])?");
  static const std::regex error(
      "e(1[abBcfoOs]|2[abBcfoOs]{2}|3[abBcfoOs]{3}|4[abBcfoOs]{4}|5[abBcfoOs]{5}|6[abBcfoOs]{6}"
      "|7[abBcfoOs]{7}|8[abBcfoOs]{8})");
  static const std::regex state("s[awpb][0-9]{6}");
  static const std::regex status("F[0-9A-Fa-f]{2}");
  static const std::regex version("V[0-9A-Za-z]{4}");
  static const std::regex serial("N[0-9A-Za-z]{4}");
  if (line.empty() || line == "z" || line == "Z")
    return bel ? SlcanEventKind::refused : SlcanEventKind::accepted;
  if (std::regex_match(line, frame) || std::regex_match(line, remote)) return SlcanEventKind::frame;
  if (std::regex_match(line, error)) return SlcanEventKind::error;
  if (std::regex_match(line, state)) return SlcanEventKind::state;
  if (std::regex_match(line, status)) return SlcanEventKind::status;
  if (std::regex_match(line, version)) return SlcanEventKind::version;
  if (std::regex_match(line, serial)) return SlcanEventKind::serial;
  return SlcanEventKind::discarded;
}

bool agrees_with_grammar(const std::string& line) {
  const auto events = events_of(line + "\r");
  return events.size() == 1 && events[0].kind == kind_by_grammar(line, false);
}

// Valid lines of every kind, for the neighbourhoods below.
const char* const kLines[] = {"t7E8803410D32CCCCCCCC",
                              "t1230",
                              "t12321122EA5F",
                              "T18DAF1108064100BE1FA813CC",
                              "T1111222281122334455667788EA5F",
                              "r1230",
                              "r12381234",
                              "R000001238",
                              "e1a",
                              "e3bcO",
                              "e8abBcfoOs",
                              "sa057033",
                              "sb256256",
                              "F00",
                              "V1013",
                              "N4242",
                              "z",
                              ""};

}  // namespace

// Source: examples in the comments of Linux drivers/net/can/slcan/slcan-core.c.
TEST_CASE("slcan: the kernel driver's examples") {
  CHECK(only_event("t1230\r").frame == frame_of(0x123, false, {}));
  CHECK(only_event("t4563112233\r").frame == frame_of(0x456, false, {0x11, 0x22, 0x33}));
  CHECK(only_event("T12ABCDEF2AA55\r").frame == frame_of(0x12ABCDEF, true, {0xAA, 0x55}));
  CanFrame remote = frame_of(0x123, false, {});
  remote.remote = true;
  CHECK(only_event("r1230\r").frame == remote);

  const SlcanEvent ack = only_event("e1a\r");
  CHECK(ack.kind == SlcanEventKind::error);
  CHECK(ack.errors == slcan_error::ack);
  CHECK(only_event("e3bcO\r").errors ==
        (slcan_error::bit0 | slcan_error::crc | slcan_error::tx_overrun));
  const SlcanEvent state = only_event("sa057033\r");
  CHECK(state.kind == SlcanEventKind::state);
  CHECK(state.bus_state == SlcanBusState::active);
  CHECK(state.rx_errors == 57);
  CHECK(state.tx_errors == 33);
  CHECK(only_event("sb256256\r").bus_state == SlcanBusState::off);
  CHECK(only_event("sw000000\r").bus_state == SlcanBusState::warning);
  CHECK(only_event("sp000000\r").bus_state == SlcanBusState::passive);
}

// Source: replies of linux-can/can-utils slcanpty.c; python-can slcan.py.
TEST_CASE("slcan: replies") {
  CHECK(only_event("\r").kind == SlcanEventKind::accepted);
  CHECK(only_event("z\r").kind == SlcanEventKind::accepted);
  CHECK(only_event("Z\r").kind == SlcanEventKind::accepted);
  CHECK(only_event("\a").kind == SlcanEventKind::refused);
  CHECK(only_event("z\a").kind == SlcanEventKind::refused);
  const SlcanEvent status = only_event("Fa4\r");
  CHECK(status.kind == SlcanEventKind::status);
  CHECK(status.status_flags == 0xA4);
  const SlcanEvent version = only_event("V1013\r");
  CHECK(version.kind == SlcanEventKind::version);
  CHECK(std::string(version.text.data(), 4) == "1013");
  CHECK(only_event("N4242\r").kind == SlcanEventKind::serial);
}

TEST_CASE("slcan: a stamp is read where the adapter adds one, remote frames too") {
  const SlcanEvent stamped = only_event("T1111222281122334455667788EA5F\r");
  CHECK(stamped.frame ==
        frame_of(0x11112222, true, {0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88}));
  CHECK(stamped.stamp_ms == 59999);
  CHECK_FALSE(only_event("t1230\r").stamp_ms.has_value());
  const SlcanEvent remote = only_event("r12380010\r");
  CHECK(remote.frame.length == 8);
  CHECK(remote.stamp_ms == 16);
  CHECK(remote.frame.data == std::array<std::uint8_t, 8>{});
}

TEST_CASE("slcan: every stamp, and only those within a minute") {
  int wrong = 0;
  for (unsigned stamp = 0; stamp <= 0xFFFF; ++stamp) {
    const SlcanEvent event = only_event("t1230" + hex(stamp, 4) + "\r");
    const bool good = stamp < 60000 ? event.kind == SlcanEventKind::frame && event.stamp_ms == stamp
                                    : event.kind == SlcanEventKind::discarded;
    wrong += good ? 0 : 1;
  }
  CHECK(wrong == 0);
}

TEST_CASE("slcan: every 11-bit id, and ids above 7FF and 1FFFFFFF are discarded") {
  int wrong = 0;
  for (unsigned id = 0; id <= 0xFFF; ++id) {
    const SlcanEvent event = only_event("t" + hex(id, 3) + "0\r");
    const bool good = id <= 0x7FF ? event.frame == frame_of(id, false, {})
                                  : event.kind == SlcanEventKind::discarded;
    wrong += good ? 0 : 1;
  }
  CHECK(wrong == 0);
  CHECK(only_event("T1FFFFFFF0\r").frame.id == 0x1FFFFFFF);
  CHECK(only_event("T200000000\r").kind == SlcanEventKind::discarded);
  CHECK(only_event("TFFFFFFFF0\r").kind == SlcanEventKind::discarded);
}

TEST_CASE("slcan: one byte changed in a line, cut off, or put in") {
  int wrong = 0;
  for (const std::string line : kLines) {
    REQUIRE(kind_by_grammar(line, false) != SlcanEventKind::discarded);
    REQUIRE(agrees_with_grammar(line));
    for (std::size_t at = 0; at <= line.size(); ++at) {
      wrong += agrees_with_grammar(line.substr(0, at)) ? 0 : 1;
      for (int byte = 0; byte < 256; ++byte) {
        if (byte == '\r' || byte == '\a') continue;
        std::string changed = line;
        changed.insert(at, 1, static_cast<char>(byte));
        wrong += agrees_with_grammar(changed) ? 0 : 1;
        if (at == line.size()) continue;
        changed = line;
        changed[at] = static_cast<char>(byte);
        wrong += agrees_with_grammar(changed) ? 0 : 1;
      }
    }
  }
  CHECK(wrong == 0);
}

TEST_CASE("slcan: every line of up to four characters that matter") {
  const std::string alphabet = "tTrRezZsFVN0159aEGb ";
  int wrong = 0;
  std::string line;
  const auto extend = [&](const auto& self) -> void {
    wrong += agrees_with_grammar(line) ? 0 : 1;
    if (line.size() == 4) return;
    for (const char c : alphabet) {
      line.push_back(c);
      self(self);
      line.pop_back();
    }
  };
  extend(extend);
  CHECK(wrong == 0);
}

TEST_CASE("slcan: a line of 31 bytes is read, a longer one dropped, the next one read") {
  const std::string longest = "T1111222281122334455667788EA5F";
  REQUIRE(longest.size() + 1 == kMaxSlcanLineBytes);
  CHECK(only_event(longest + "\r").kind == SlcanEventKind::frame);
  for (const std::size_t extra : {1u, 2u, 40u, 100000u}) {
    CAPTURE(extra);
    for (const char* end : {"\r", "\a"}) {
      const auto events = events_of(longest + std::string(extra, 'A') + end + "t1230\r");
      REQUIRE(events.size() == 2);
      CHECK(events[0].kind == SlcanEventKind::discarded);
      CHECK(events[1].frame == frame_of(0x123, false, {}));
    }
  }
  // A valid line at the end of the long one is still part of it.
  CHECK(events_of(std::string(40, 'x') + "t1230\r").size() == 1);
}

TEST_CASE("slcan: one event at each line end, whatever the bytes") {
  std::mt19937 random(20260301);
  for (int round = 0; round < 2000; ++round) {
    std::string text;
    for (int i = 0; i < 200; ++i) text.push_back(static_cast<char>(random() & 0xFF));
    std::size_t ends = 0;
    for (const char c : text) ends += c == '\r' || c == '\a' ? 1 : 0;
    REQUIRE(events_of(text).size() == ends);
  }
}

TEST_CASE("slcan: reset forgets the present line, also one too long") {
  for (const std::string& start : {std::string("t12"), std::string(200, 'x')}) {
    SlcanReader reader;
    for (const char c : start) CHECK_FALSE(reader.on_byte(static_cast<std::uint8_t>(c)));
    reader.reset();
    std::optional<SlcanEvent> event;
    for (const char c : std::string("t4560\r"))
      event = reader.on_byte(static_cast<std::uint8_t>(c));
    REQUIRE(event.has_value());
    CHECK(event->frame == frame_of(0x456, false, {}));
  }
}

// Source: lines read by the kernel driver and python-can; lengths of its table.
TEST_CASE("slcan: frames are written in upper case with CR") {
  CHECK(written(frame_of(0x7DF, false, {2, 1, 0x0D, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC})) ==
        "t7DF802010DCCCCCCCCCC\r");
  CHECK(written(frame_of(0x18DB33F1, true, {2, 1, 0x0D, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC})) ==
        "T18DB33F1802010DCCCCCCCCCC\r");
  CHECK(written(frame_of(0xAB, false, {0xEF})) == "t0AB1EF\r");
  CanFrame remote = frame_of(0x123, false, {1, 2});
  remote.remote = true;
  CHECK(written(remote) == "r1232\r");
}

TEST_CASE("slcan: what is no classic frame, or does not fit, is not written") {
  CanFrame frame = frame_of(0x800, false, {});
  CHECK(written(frame).empty());
  frame = frame_of(0x20000000, true, {});
  CHECK(written(frame).empty());
  frame = frame_of(1, false, {});
  frame.length = 9;
  CHECK(written(frame).empty());

  const CanFrame good = frame_of(0x7E0, false, {1, 2, 3, 4, 5, 6, 7, 8});
  for (std::size_t room = 0; room <= 24; ++room) {
    std::array<std::uint8_t, 24> out{};
    const std::size_t size = write_slcan(good, std::span(out).first(room));
    CHECK(size == (room >= 22 ? 22 : 0));
    if (size == 0) CHECK(out == std::array<std::uint8_t, 24>{});
  }
}

TEST_CASE("slcan: the reader reads what the writer writes, in either case") {
  std::mt19937 random(7);
  for (int round = 0; round < 20000; ++round) {
    CanFrame frame;
    frame.extended = (random() & 1) != 0;
    frame.remote = random() % 8 == 0;
    frame.id = static_cast<std::uint32_t>(random() & (frame.extended ? 0x1FFFFFFFu : 0x7FFu));
    frame.length = static_cast<std::uint8_t>(random() % 9);
    if (!frame.remote)
      for (std::size_t i = 0; i < frame.length; ++i)
        frame.data[i] = static_cast<std::uint8_t>(random());
    std::string line = written(frame);
    REQUIRE(only_event(line).frame == frame);
    for (std::size_t i = 1; i < line.size(); ++i)
      if (line[i] >= 'A' && line[i] <= 'F') line[i] = static_cast<char>(line[i] + 'a' - 'A');
    REQUIRE(only_event(line).frame == frame);
  }
}

// Source: S5 = 250, S6 = 500 kbit/s, C, O: Linux slcan-core.c; L: python-can.
TEST_CASE("slcan: commands") {
  CHECK(slcan_line(AdapterCommand::close) == "C\r");
  CHECK(slcan_line(AdapterCommand::rate_500) == "S6\r");
  CHECK(slcan_line(AdapterCommand::rate_250) == "S5\r");
  CHECK(slcan_line(AdapterCommand::open) == "O\r");
  CHECK(slcan_line(AdapterCommand::listen_only) == "L\r");
  CHECK(slcan_line(AdapterCommand::status) == "F\r");
}

}  // namespace packmile
