// Field numbers and wire types of packmile.proto for the hand-written encoder
// and decoder, and the varint arithmetic they share.
//
// Standard  Protocol Buffers encoding, protobuf.dev/programming-guides/encoding
// Pure      no heap, no I/O.
// Checked   tests/unit/proto/descriptor_test.cpp compares every number here
//           with the descriptor that protoc makes from packmile.proto.
#pragma once
#include <cstddef>
#include <cstdint>
#include <span>

namespace packmile::wire {

enum Type : std::uint8_t { kVarint = 0, kFixed64 = 1, kBytes = 2, kFixed32 = 5 };

namespace record {
enum : std::uint32_t { base_ms = 1, block = 2, session = 3, settings = 4, dropped_samples = 5 };
}
namespace block {
// Column k has its deltas in first_delta + k, or its runs in first_run + k and
// first_run_length + k.
enum : std::uint32_t {
  ecu = 1,
  signal = 2,
  period_ms = 3,
  time = 4,
  first_delta = 5,
  first_run = 11,
  first_run_length = 17
};
}  // namespace block
namespace clock_reading {
enum : std::uint32_t { source = 1, unix_ms = 2, tick_ms = 3, resolution_ms = 4 };
}
namespace session {
enum : std::uint32_t {
  tick_ms = 1,
  logger_version = 2,
  van = 3,
  vin = 4,
  reset_cause = 5,
  clock = 6,
  bus = 7,
  ecu = 8,
  poll = 9,
  counters = 10,
  supply_min_mv = 11,
  clean_stop = 12,
  listen_only_s = 13,
  owners_signal = 14,
  not_found_in_row = 15,
  fault = 16
};
}
namespace fault {
enum : std::uint32_t { exception = 1, program_counter = 2, link_register = 3, status = 4 };
}
namespace bus {
enum : std::uint32_t { kbit_per_s = 1, extended_ids = 2 };
}
namespace ecu {
enum : std::uint32_t {
  response_id = 1,
  name = 2,
  calibration_id = 3,
  supported_pids = 4,
  supported_dids = 5
};
}
namespace poll {
enum : std::uint32_t { ecu = 1, pid = 2, period_ms = 3, by_did = 4, owners_did = 5 };
}
namespace counters {
enum : std::uint32_t {
  requests = 1,
  responses = 2,
  timeouts = 3,
  negative_responses = 4,
  pending_responses = 5,
  isotp_dropped = 6,
  lines_discarded = 7,
  adapter_reopened = 8,
  refused_transmits = 9,
  requests_while_parked = 10,
  foreign_tester_events = 11,
  card_write_failures = 12,
  dropped_samples = 13,
  other_frames_per_s = 14,
  echoed_frames = 15,
  late_answers = 16,
  reply_wait_ms = 17
};
}
namespace settings {
enum : std::uint32_t {
  van = 1,
  prepared_unix_ms = 2,
  driving_period_ms = 3,
  charging_period_ms = 4,
  driving_deadline_ms = 5,
  charging_deadline_ms = 6,
  battery = 7,
  owners_signal = 8
};
}
namespace owners_signal {
enum : std::uint32_t {
  id = 1,
  request_id = 2,
  did = 3,
  first_byte = 4,
  bytes = 5,
  first_bit = 6,
  bits = 7,
  little_endian = 8,
  is_signed = 9,
  period_ms = 10,
  role = 11,
  scale = 12,
  offset = 13,
  name = 14,
  unit = 15,
  code_scale_q16 = 16,
  code_offset = 17
};
}

// The longest varint: 64 bits in groups of seven.
inline constexpr std::size_t kMaxVarintBytes = 10;
// Keys and lengths have 32 bits. A longer one, though it be filled up with zeros,
// is malformed to protobuf's own readers, and so it is here.
inline constexpr std::size_t kMaxKeyBytes = 5;

constexpr std::uint32_t tag(std::uint32_t field, Type type) { return field << 3 | type; }

// noinline: unrolled into each place that asks it costs the logger 152 B of flash.
[[gnu::noinline]] constexpr std::size_t varint_bytes(std::uint64_t value) {
  std::size_t bytes = 1;
  while (value >= 0x80) {
    value >>= 7;
    ++bytes;
  }
  return bytes;
}

constexpr std::uint32_t zigzag(std::int32_t value) {
  return static_cast<std::uint32_t>(value) << 1 ^ static_cast<std::uint32_t>(value >> 31);
}
constexpr std::int32_t unzigzag(std::uint32_t value) {
  return static_cast<std::int32_t>(value >> 1 ^ (~(value & 1) + 1));
}

// Writes fields one after another into a fixed buffer. What does not fit is
// not written and clears ok(): the caller looks once, at the end.
class Writer {
 public:
  explicit Writer(std::span<std::uint8_t> out) : out_(out) {}

  [[nodiscard]] bool ok() const { return ok_; }
  [[nodiscard]] std::size_t size() const { return size_; }

  void varint(std::uint64_t value) {
    while (value >= 0x80) {
      byte(static_cast<std::uint8_t>(value | 0x80));
      value >>= 7;
    }
    byte(static_cast<std::uint8_t>(value));
  }
  void raw(std::span<const std::uint8_t> bytes) {
    if (bytes.size() > out_.size() - size_) {
      ok_ = false;
      return;
    }
    for (const std::uint8_t b : bytes) out_[size_++] = b;
  }
  // Leaves room that the caller fills.
  void skip(std::size_t bytes) {
    if (bytes > out_.size() - size_) {
      ok_ = false;
      return;
    }
    size_ += bytes;
  }
  void byte(std::uint8_t b) {
    if (size_ == out_.size()) {
      ok_ = false;
      return;
    }
    out_[size_++] = b;
  }
  // proto3: a scalar of value 0 is left out.
  void uint_field(std::uint32_t field, std::uint64_t value) {
    if (value == 0) return;
    optional_uint_field(field, value);
  }
  // A field declared `optional` is written even when it is 0.
  void optional_uint_field(std::uint32_t field, std::uint64_t value) {
    varint(tag(field, kVarint));
    varint(value);
  }
  void bytes_field(std::uint32_t field, std::span<const std::uint8_t> bytes) {
    if (bytes.empty()) return;
    varint(tag(field, kBytes));
    varint(bytes.size());
    raw(bytes);
  }

 private:
  std::span<std::uint8_t> out_;
  std::size_t size_ = 0;
  bool ok_ = true;
};

// One field as read: `value` of a varint, fixed32 or fixed64; `bytes` of a
// length-delimited field.
struct Field {
  std::uint32_t number = 0;
  Type type = kVarint;
  std::uint64_t value = 0;
  std::span<const std::uint8_t> bytes;
};

// Reads fields of one message. Never reads outside the span, whatever the
// bytes; next() is false at the end and at the first malformed byte, and ok()
// tells which of the two.
class Reader {
 public:
  explicit Reader(std::span<const std::uint8_t> in) : in_(in) {}

  [[nodiscard]] bool ok() const { return ok_; }

  bool next(Field& field) {
    if (!ok_ || at_ == in_.size()) return false;
    std::uint64_t key = 0;
    if (!varint(key, kMaxKeyBytes) || key >> 3 == 0 || key >> 3 > 0x1FFFFFFF) return fail();
    field.number = static_cast<std::uint32_t>(key >> 3);
    field.value = 0;
    field.bytes = {};
    switch (key & 7) {
      case kVarint:
        field.type = kVarint;
        return varint(field.value) || fail();
      case kFixed64:
        field.type = kFixed64;
        return fixed(8, field.value) || fail();
      case kFixed32:
        field.type = kFixed32;
        return fixed(4, field.value) || fail();
      case kBytes: {
        field.type = kBytes;
        std::uint64_t length = 0;
        if (!varint(length, kMaxKeyBytes) || length > in_.size() - at_) return fail();
        field.bytes = in_.subspan(at_, static_cast<std::size_t>(length));
        at_ += static_cast<std::size_t>(length);
        return true;
      }
    }
    return fail();  // groups are not part of proto3
  }

  // The next varint of a packed field.
  bool varint(std::uint64_t& value, std::size_t most_bytes = kMaxVarintBytes) {
    value = 0;
    for (std::size_t i = 0; i < most_bytes; ++i) {
      if (at_ == in_.size()) return fail();
      const std::uint8_t b = in_[at_++];
      value |= static_cast<std::uint64_t>(b & 0x7F) << (7 * i);
      if (b < 0x80) return true;
    }
    return fail();
  }
  [[nodiscard]] bool at_end() const { return at_ == in_.size(); }

 private:
  bool fixed(std::size_t bytes, std::uint64_t& value) {
    if (in_.size() - at_ < bytes) return false;
    for (std::size_t i = 0; i < bytes; ++i)
      value |= static_cast<std::uint64_t>(in_[at_ + i]) << (8 * i);
    at_ += bytes;
    return true;
  }
  bool fail() {
    ok_ = false;
    return false;
  }

  std::span<const std::uint8_t> in_;
  std::size_t at_ = 0;
  bool ok_ = true;
};

}  // namespace packmile::wire
