#include "core/pid_reply.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <random>

#include "bus_bytes.hpp"

namespace packmile {
namespace {

using test::Bytes;

std::vector<RawWord> words(const PidReply& reply) {
  std::array<RawWord, kMaxWordsPerReply> out{};
  const std::size_t count = words_of(reply, out);
  return {out.begin(), out.begin() + static_cast<std::ptrdiff_t>(count)};
}

Bytes copy(std::span<const std::uint8_t> bytes) { return Bytes(bytes.begin(), bytes.end()); }

}  // namespace

// Source: the same reply as read by scapy 2.5.0: 05 = 40, 0D = 50, 1F = 3600,
// 42 = 14.000, 46 = 35, 5B = 78.431.
TEST_CASE("pid reply: six PIDs in one message") {
  const Bytes message{0x41, 0x05, 0x50, 0x0D, 0x32, 0x1F, 0x0E, 0x10,
                      0x42, 0x36, 0xB0, 0x46, 0x4B, 0x5B, 0xC8};
  const PidReply reply = parse_pid_reply(message);
  CHECK(reply.end() == PidReplyEnd::complete);
  CHECK(reply.rest().empty());
  REQUIRE(reply.pids().size() == 6);
  CHECK(words(reply) == std::vector<RawWord>{{signal::coolant_c, 80},
                                             {signal::speed_kmh, 50},
                                             {signal::run_time_s, 3600},
                                             {signal::module_v, 14000},
                                             {signal::ambient_c, 75},
                                             {signal::soc_pct, 200}});
  CHECK(copy(reply.find(0x1F)) == Bytes{0x0E, 0x10});
  CHECK(reply.find(0xA6).empty());
}

// Source: length 6 from scapy 2.5.0; the place of each signal from memory.
TEST_CASE("pid reply: all four signals of $9A as they came, supported or not") {
  for (const std::uint8_t support : Bytes{0x07, 0x00}) {
    const Bytes message{0x41, 0x9A, support, 0x02, 0x57, 0x80, 0xFE, 0x0C, 0x0D, 0x32};
    auto all = words(parse_pid_reply(message));
    std::sort(all.begin(), all.end(), [](RawWord a, RawWord b) { return a.id < b.id; });
    CHECK(all == std::vector<RawWord>{{signal::pack_v, 0x5780},
                                      {signal::pack_a, 0xFE0C},
                                      {signal::pack_support, support},
                                      {signal::pack_state, 0x02},
                                      {signal::speed_kmh, 0x32}});
  }
}

// Source: length 4 from scapy 2.5.0.
TEST_CASE("pid reply: odometer and bitmap") {
  const Bytes message{0x41, 0xA6, 0x00, 0x01, 0xE2, 0x40};
  CHECK(words(parse_pid_reply(message)) == std::vector<RawWord>{{signal::odometer_km, 123456}});
  const Bytes bitmap{0x41, 0x20, 0x80, 0x00, 0x00, 0x01};
  const PidReply reply = parse_pid_reply(bitmap);
  CHECK(reply.end() == PidReplyEnd::complete);
  CHECK(copy(reply.find(0x20)) == Bytes{0x80, 0x00, 0x00, 0x01});
  CHECK(words(reply).empty());
}

// Source: ISO 14229-1, several identifiers in one response; F4xx from memory.
TEST_CASE("pid reply: the same items by identifier") {
  const Bytes message{0x62, 0xF4, 0x9A, 0x06, 0x00, 0x57, 0x80, 0x00, 0xFA, 0xF4, 0x0D, 0x32};
  const PidReply reply = parse_pid_reply(message);
  CHECK(reply.end() == PidReplyEnd::complete);
  REQUIRE(reply.pids().size() == 2);
  CHECK(copy(reply.find(0x9A)) == Bytes{0x06, 0x00, 0x57, 0x80, 0x00, 0xFA});
  CHECK(copy(reply.find(0x0D)) == Bytes{0x32});
  const Bytes by_pid{0x41, 0x9A, 0x06, 0x00, 0x57, 0x80, 0x00, 0xFA, 0x0D, 0x32};
  CHECK(words(reply) == words(parse_pid_reply(by_pid)));
  // Cut off anywhere: never an item that is not whole.
  for (std::size_t n = 0; n < message.size(); ++n) {
    CAPTURE(n);
    const PidReply part = parse_pid_reply(std::span(message).first(n));
    CHECK(part.find(0x0D).empty());
    CHECK(part.find(0x9A).empty() == (n < 9));
    CHECK((part.end() == PidReplyEnd::complete) == (n == 9));
  }
  // Another identifier behind the first, or before it.
  const Bytes other{0x62, 0xF4, 0x0D, 0x32, 0xF1, 0x90, 0x31};
  CHECK(parse_pid_reply(other).end() == PidReplyEnd::unknown_pid);
  CHECK(parse_pid_reply(Bytes{0x62, 0x12, 0x0D, 0x32}).end() == PidReplyEnd::not_a_reply);
}

TEST_CASE("pid reply: an unknown PID stops the reading, the rest stays raw") {
  const Bytes message{0x41, 0x0D, 0x32, 0x0C, 0x1A, 0xF8, 0x5B, 0xC8};
  const PidReply reply = parse_pid_reply(message);
  CHECK(reply.end() == PidReplyEnd::unknown_pid);
  CHECK(copy(reply.rest()) == Bytes{0x0C, 0x1A, 0xF8, 0x5B, 0xC8});
  CHECK(words(reply) == std::vector<RawWord>{{signal::speed_kmh, 50}});
}

TEST_CASE("pid reply: every place at which a reply can be cut off") {
  const Bytes message{0x41, 0x0D, 0x32, 0x42, 0x36, 0xB0, 0xA6, 0x00, 0x01, 0xE2, 0x40};
  const std::size_t whole_at[] = {1, 3, 6, 11};
  for (std::size_t size = 0; size <= message.size(); ++size) {
    CAPTURE(size);
    const Bytes cut(message.begin(), message.begin() + static_cast<std::ptrdiff_t>(size));
    const PidReply reply = parse_pid_reply(cut);
    std::size_t whole = 0;
    while (whole < 3 && whole_at[whole + 1] <= size) ++whole;
    CHECK(reply.pids().size() == whole);
    if (size < 2)
      CHECK(reply.end() == PidReplyEnd::not_a_reply);
    else
      CHECK(reply.end() ==
            (whole_at[whole] == size ? PidReplyEnd::complete : PidReplyEnd::short_data));
    CHECK(reply.rest().size() == (size < 2 ? size : size - whole_at[whole]));
  }
}

TEST_CASE("pid reply: a PID of unknown layout is read when it is alone") {
  for (std::size_t size = 0; size <= 6; ++size) {
    CAPTURE(size);
    Bytes message{0x41, 0xB2};
    for (std::size_t i = 0; i < size; ++i) message.push_back(static_cast<std::uint8_t>(i + 1));
    const PidReply reply = parse_pid_reply(message);
    const std::uint32_t expected[] = {0, 0x01, 0x0102, 0x010203, 0x01020304};
    if (size == 0) {
      CHECK(reply.end() == PidReplyEnd::short_data);
      CHECK(words(reply).empty());
    } else {
      CHECK(reply.end() == (size > 4 ? PidReplyEnd::left_over : PidReplyEnd::complete));
      CHECK(words(reply) ==
            std::vector<RawWord>{{signal::reported_b2, expected[std::min<std::size_t>(size, 4)]}});
    }
  }
  const Bytes behind{0x41, 0x0D, 0x32, 0xB2, 0x01};
  const PidReply reply = parse_pid_reply(behind);
  CHECK(reply.end() == PidReplyEnd::unknown_pid);
  CHECK(words(reply).size() == 1);
}

TEST_CASE("pid reply: a PID may come twice, a seventh is left over") {
  Bytes message{0x41};
  for (std::uint8_t i = 0; i < 7; ++i) {
    message.push_back(0x0D);
    message.push_back(i);
  }
  const PidReply reply = parse_pid_reply(message);
  CHECK(reply.end() == PidReplyEnd::left_over);
  CHECK(words(reply).size() == 6);
  CHECK(copy(reply.find(0x0D)) == Bytes{0});
  CHECK(copy(reply.rest()) == Bytes{0x0D, 6});
}

TEST_CASE("pid reply: other messages are none") {
  for (const Bytes& message :
       {Bytes{}, Bytes{0x41}, Bytes{0x7F, 0x01, 0x12}, Bytes{0x49, 0x02, 1}, Bytes{0x01, 0x0D}}) {
    const PidReply reply = parse_pid_reply(message);
    CHECK(reply.end() == PidReplyEnd::not_a_reply);
    CHECK(reply.pids().empty());
  }
}

TEST_CASE("pid reply: the catalogue's PIDs one by one, and no more words than fit") {
  for (const PidEntry& entry : pid_catalogue()) {
    CAPTURE(int{entry.pid});
    const std::size_t signals = signals_of_pid(entry.pid).size();
    CHECK(signals <= kMaxWordsPerPid);
    Bytes message{0x41, entry.pid};
    message.insert(message.end(), entry.bytes == 0 ? 4u : entry.bytes, 0xA5);
    const PidReply reply = parse_pid_reply(message);
    CHECK(reply.end() == PidReplyEnd::complete);
    CHECK(words(reply).size() == signals);
    for (const RawWord& one : words(reply)) CHECK(one.word <= word_mask_of(one.id));
    std::array<RawWord, kMaxWordsPerPid> out{};
    for (std::size_t room = 0; room <= kMaxWordsPerPid; ++room)
      CHECK(words_of(reply, std::span(out).first(room)) == std::min(room, signals));
  }
}

TEST_CASE("pid reply: any bytes: what is read and what is left over make up the message") {
  std::mt19937 random(3);
  const Bytes likely{0x0D, 0x42, 0x9A, 0xA6, 0x5B, 0xB2, 0x20, 0x0C};
  for (int round = 0; round < 100000; ++round) {
    Bytes message{0x41};
    const std::size_t size = random() % 40;
    while (message.size() < size)
      message.push_back(random() % 2 != 0 ? likely[random() % likely.size()]
                                          : static_cast<std::uint8_t>(random()));
    const PidReply reply = parse_pid_reply(message);
    if (reply.end() == PidReplyEnd::not_a_reply) continue;
    std::size_t total = 1 + reply.rest().size();
    for (const PidData& one : reply.pids()) total += 1 + one.data.size();
    REQUIRE(total == message.size());
    REQUIRE((reply.end() == PidReplyEnd::complete) == reply.rest().empty());
    REQUIRE(words(reply).size() <= kMaxWordsPerReply);
  }
}

}  // namespace packmile
