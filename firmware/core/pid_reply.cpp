#include "core/pid_reply.hpp"

#include <algorithm>
#include <optional>

#include "catalogue/layout.hpp"
#include "core/supported_pids.hpp"

namespace packmile {
namespace {

constexpr std::size_t kBitmapBytes = 4;
constexpr std::size_t kMaxUnknownLayoutBytes = 4;

// None: unknown PID. 0: listed, layout unknown.
std::optional<std::size_t> data_bytes(std::uint8_t pid) {
  if (is_bitmap_pid(pid)) return kBitmapBytes;
  const int listed = data_bytes_of_pid(pid);
  if (listed < 0) return std::nullopt;
  return static_cast<std::size_t>(listed);
}

std::uint32_t big_endian(std::span<const std::uint8_t> bytes) {
  std::uint32_t word = 0;
  for (const std::uint8_t byte : bytes) word = word << 8 | byte;
  return word;
}

}  // namespace

std::span<const std::uint8_t> PidReply::find(std::uint8_t pid) const {
  for (const PidData& one : pids())
    if (one.pid == pid) return one.data;
  return {};
}

PidReply parse_pid_reply(std::span<const std::uint8_t> message) {
  PidReply reply;
  reply.rest_ = message;
  const bool by_did = !message.empty() && message[0] == kServiceReadById + kPositiveResponse;
  // Bytes of an item's name: a PID, or F4 and a PID.
  const std::size_t name = by_did ? 2 : 1;
  if (message.size() < 1 + name ||
      (!by_did && message[0] != kServiceCurrentData + kPositiveResponse) ||
      (by_did && message[1] != kObdDid >> 8)) {
    reply.end_ = PidReplyEnd::not_a_reply;
    return reply;
  }
  reply.rest_ = message.subspan(1);
  while (!reply.rest_.empty()) {
    if (reply.count_ == reply.pids_.size()) {
      reply.end_ = PidReplyEnd::left_over;
      return reply;
    }
    if (reply.rest_.size() < name) {
      reply.end_ = PidReplyEnd::short_data;
      return reply;
    }
    const std::uint8_t pid = reply.rest_[name - 1];
    const std::span<const std::uint8_t> after = reply.rest_.subspan(name);
    const auto listed = data_bytes(pid);
    // Without a length nobody knows where the next PID begins.
    if (!listed || (*listed == 0 && reply.count_ > 0) ||
        (by_did && reply.rest_[0] != kObdDid >> 8)) {
      reply.end_ = PidReplyEnd::unknown_pid;
      return reply;
    }
    const std::size_t bytes =
        *listed == 0 ? std::min(after.size(), kMaxUnknownLayoutBytes) : *listed;
    if (bytes == 0 || after.size() < bytes) {
      reply.end_ = PidReplyEnd::short_data;
      return reply;
    }
    reply.pids_[reply.count_++] = {pid, after.first(bytes)};
    reply.rest_ = after.subspan(bytes);
    if (*listed == 0 && !reply.rest_.empty()) {
      reply.end_ = PidReplyEnd::left_over;
      return reply;
    }
  }
  return reply;
}

std::size_t words_of(const PidData& pid, std::span<RawWord> out) {
  const bool layout_known = data_bytes_of_pid(pid.pid) > 0;
  std::size_t count = 0;
  for (const SignalLayout& one : layout_of_pid(pid.pid)) {
    if (count == out.size()) break;
    if (one.first_byte >= pid.data.size()) continue;
    const std::span<const std::uint8_t> from = pid.data.subspan(one.first_byte);
    if (from.size() < one.bytes && layout_known) continue;
    out[count++] = {one.id, big_endian(from.first(std::min<std::size_t>(from.size(), one.bytes)))};
  }
  return count;
}

std::size_t words_of(const PidReply& reply, std::span<RawWord> out) {
  std::size_t count = 0;
  for (const PidData& one : reply.pids()) count += words_of(one, out.subspan(count));
  return count;
}

}  // namespace packmile
