// Reads a response of service 01, or of 22 for the same items: which PIDs came,
// and their raw words.
//
// Standard  SAE J1979: 41 PID data [PID data ...] in any order, without length
//           fields; the catalogue knows the lengths. ISO 14229-1: 62 F4 PID data
//           [F4 PID data ...]; that the data is that of the PID is from memory.
// Output    words as they came: $9A's four signals are given whether or not its
//           support bits say that they mean anything; that is the host's to judge.
// Bounded   kMaxRequestPids PIDs; what is left over is given as raw bytes.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "catalogue/catalogue.hpp"
#include "core/obd_request.hpp"

namespace packmile {

// Pack voltage and current.
inline constexpr std::uint8_t kPackPid = 0x9A;
// The most signals that the catalogue finds in one PID ($9A).
inline constexpr std::size_t kMaxWordsPerPid = 4;
inline constexpr std::size_t kMaxWordsPerReply = kMaxRequestPids * kMaxWordsPerPid;

enum class PidReplyEnd : std::uint8_t {
  complete,     // nothing left over
  not_a_reply,  // neither 41 PID .. nor 62 F4 PID ..
  unknown_pid,  // rest() begins with a PID whose length nobody knows, or with an
                // identifier that is not F4xx
  short_data,   // rest() begins with a PID whose data is cut off
  left_over,    // more than kMaxRequestPids PIDs, or more bytes than a lone PID
                // of unknown layout may have
};

struct PidData {
  std::uint8_t pid = 0;
  std::span<const std::uint8_t> data;  // never empty
};

// Views into the message that was read: valid as long as that is.
class PidReply {
 public:
  [[nodiscard]] std::span<const PidData> pids() const {
    return std::span<const PidData>(pids_).first(count_);
  }
  [[nodiscard]] PidReplyEnd end() const { return end_; }
  [[nodiscard]] std::span<const std::uint8_t> rest() const { return rest_; }
  // Data of a PID; empty: not in the reply. The first, if it is there twice.
  [[nodiscard]] std::span<const std::uint8_t> find(std::uint8_t pid) const;

 private:
  friend PidReply parse_pid_reply(std::span<const std::uint8_t> message);

  std::array<PidData, kMaxRequestPids> pids_{};
  std::size_t count_ = 0;
  PidReplyEnd end_ = PidReplyEnd::complete;
  std::span<const std::uint8_t> rest_;
};

// Bitmap PIDs (00 20 .. E0) count as known, with four bytes. A PID that the
// catalogue lists without a length is read only when it is the sole one: up to
// four bytes.
[[nodiscard]] PidReply parse_pid_reply(std::span<const std::uint8_t> message);

struct RawWord {
  SignalId id = signal::none;
  std::uint32_t word = 0;

  bool operator==(const RawWord&) const = default;
};

// The words of one PID in the catalogue's order, or of all PIDs in the order of
// the reply; returns how many were written to `out`. A signal whose bytes did
// not all come is left out, except in a PID of unknown layout: there the word is
// what came. What does not fit into `out` is left out.
[[nodiscard]] std::size_t words_of(const PidData& pid, std::span<RawWord> out);
[[nodiscard]] std::size_t words_of(const PidReply& reply, std::span<RawWord> out);

}  // namespace packmile
