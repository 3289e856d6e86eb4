// What an ECU answers: PID replies, negative responses and support bitmaps.
#include <algorithm>
#include <array>
#include <optional>
#include <vector>

#include "core/negative_response.hpp"
#include "core/pid_reply.hpp"
#include "core/supported_pids.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"

namespace packmile::fuzz {
namespace {

void check_words(const PidReply& reply) {
  std::array<RawWord, kMaxWordsPerReply> words{};
  const std::size_t count = words_of(reply, words);
  std::vector<RawWord> expected;
  for (const PidData& pid : reply.pids()) {
    const PidEntry* entry = find_pid(pid.pid);
    for (const SignalEntry& one : signal_catalogue()) {
      if (!entry || one.pid != pid.pid || one.first_byte >= pid.data.size()) continue;
      const std::size_t end = std::size_t{one.first_byte} + one.bytes;
      if (entry->bytes != 0 && end > pid.data.size()) continue;
      std::uint64_t word = 0;
      for (std::size_t i = one.first_byte; i < std::min(end, pid.data.size()); ++i)
        word = word * 256 + pid.data[i];
      expected.push_back({one.id, static_cast<std::uint32_t>(word)});
    }
  }
  must(std::ranges::equal(std::span(words).first(count), expected),
       "words are those of the catalogue, in its order");
  for (std::size_t room = 0; room < count; ++room) {
    std::array<RawWord, kMaxWordsPerReply> few{};
    must(words_of(reply, std::span(few).first(room)) == room, "what does not fit is left out");
    must(few[room] == RawWord{}, "nothing is written behind the room given");
  }
}

void check_reply(Input message) {
  const PidReply reply = parse_pid_reply(message);
  must(reply.pids().size() <= kMaxRequestPids, "at most six PIDs");
  // 41 PID data, or 62 F4 PID data: the same items as identifiers.
  const bool by_did = message.size() >= 3 && message[0] == 0x62 && message[1] == 0xF4;
  const bool is_reply = by_did || (message.size() >= 2 && message[0] == 0x41);
  must(is_reply == (reply.end() != PidReplyEnd::not_a_reply), "a reply begins with 41 or 62 F4");
  must((reply.end() == PidReplyEnd::complete) == (is_reply && reply.rest().empty()),
       "complete means that nothing is left over");
  if (!is_reply) {
    must(reply.pids().empty(), "no PID in what is no reply");
    return;
  }
  // Head, names, data and rest are the message again, byte for byte.
  const std::size_t name = by_did ? 2 : 1;
  std::size_t at = 1;
  for (const PidData& pid : reply.pids()) {
    must(!by_did || message[at] == 0xF4, "F4 stands before the PID of an identifier");
    must(!pid.data.empty() && message[at + name - 1] == pid.pid, "a PID stands before its data");
    must(pid.data.data() == message.data() + at + name, "data lies in the message");
    at += name + pid.data.size();
    must(at <= message.size(), "data ends in the message");
    const auto found = reply.find(pid.pid);
    must(!found.empty() && found.data() <= pid.data.data(), "find() gives the first");
  }
  must(reply.rest().size() == message.size() - at, "the rest is all that is left");
  check_words(reply);
}

void check_negative(Input message) {
  const auto negative = parse_negative_response(message);
  must(negative.has_value() == (message.size() == 3 && message[0] == 0x7F),
       "three bytes from 7F on are a negative response");
  if (!negative) return;
  must(negative->service == message[1] && negative->code == message[2], "as it was sent");
  must(negative->action == action_of(message[2]), "the action is that of the code");
}

void check_bitmaps(Input input) {
  ByteSource source(input);
  SupportedPids pids;
  std::array<std::optional<std::uint32_t>, 9> plain;  // bits of each range; the last is never set
  while (!source.empty()) {
    const std::uint8_t base = source.u8();
    const auto bitmap = source.bytes(base % 2 == 0 ? 4 : base % 7);
    const bool taken = pids.set(base, bitmap);
    must(taken == (base % 0x20 == 0 && bitmap.size() == 4), "four bytes of a bitmap PID");
    if (!taken) continue;
    std::uint32_t bits = 0;
    for (const std::uint8_t byte : bitmap) bits = bits * 256 + byte;
    plain[base / 0x20] = bits;
  }
  const auto has = [&](unsigned pid) {
    if (pid == 0) return plain[0].has_value();
    const unsigned bit = (pid - 1) % 0x20;
    return (plain[(pid - 1) / 0x20].value_or(0) & 0x80000000u >> bit) != 0;
  };
  for (unsigned pid = 0; pid < 256; ++pid)
    must(pids.has(static_cast<std::uint8_t>(pid)) == has(pid), "a PID's bit is where it belongs");
  unsigned next = 0;
  while (plain[next]) ++next;
  const bool exists = next < kPidRanges && (next == 0 || has(next * 0x20));
  must(pids.next_base().has_value() == exists, "the next bitmap is asked for if it exists");
  if (exists) must(*pids.next_base() == next * 0x20, "the next bitmap is the first not answered");
  std::size_t ranges = 0;
  for (std::size_t range = 0; range < kPidRanges; ++range) {
    if (plain[range]) ranges = range + 1;
    must(pids.bitmap(range) == plain[range].value_or(0), "bitmaps are kept as they were answered");
  }
  must(pids.ranges() == ranges, "ranges go up to the last answered");
}

}  // namespace

void try_pid(Input input) {
  check_reply(input);
  check_negative(input);
  check_bitmaps(input);
}

}  // namespace packmile::fuzz
