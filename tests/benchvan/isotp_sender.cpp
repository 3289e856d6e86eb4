#include "benchvan/isotp_sender.hpp"

#include <algorithm>

namespace packmile::benchvan {
namespace {

// Not significant by the standard; any value is seen on real buses.
constexpr std::uint8_t kPadding = 0xAA;
constexpr std::size_t kFirstFrameBytes = 6;
constexpr std::size_t kConsecutiveFrameBytes = 7;

}  // namespace

Nanos st_min_ns(std::uint8_t code) {
  if (code <= 0x7F) return code * kNanosPerMs;
  if (code >= 0xF1 && code <= 0xF9) return (code - 0xF0) * kNanosPerMs / 10;
  return 127 * kNanosPerMs;
}

IsotpSender::IsotpSender(std::uint32_t id, bool extended, Nanos n_bs_ns)
    : id_(id), extended_(extended), n_bs_ns_(n_bs_ns) {}

void IsotpSender::abort() {
  ++aborted_;
  state_ = State::idle;
}

void IsotpSender::start(Nanos now_ns, const Payload& message) {
  if (state_ != State::idle) abort();
  message_ = message;
  sent_bytes_ = 0;
  sequence_ = 1;
  waits_ = 0;
  on_the_bus_ = false;
  broken_ = false;
  due_ns_ = now_ns;
  state_ = message.size() <= 7 ? State::single : State::first;
  ++messages_;
}

BusFrame IsotpSender::frame_of(std::uint8_t control) const {
  BusFrame frame{.id = id_, .extended = extended_, .length = 8};
  frame.data.fill(kPadding);
  frame.data[0] = control;
  return frame;
}

std::optional<BusFrame> IsotpSender::take_frame(Nanos now_ns) {
  if (state_ == State::idle || on_the_bus_ || now_ns < due_ns_) return std::nullopt;
  const auto bytes = message_.bytes();
  BusFrame frame;
  switch (state_) {
    case State::idle:
      return std::nullopt;
    case State::single:
      frame = frame_of(static_cast<std::uint8_t>(bytes.size()));
      std::copy(bytes.begin(), bytes.end(), frame.data.begin() + 1);
      if (faults_.wrong_length && messages_ % 5 == 0 && frame.data[0] < 7) {
        ++frame.data[0];
        // The byte that it claims too much is there as padding, or not at all.
        broken_ = faults_.unpadded_last;
      }
      if (faults_.unpadded_last) frame.length = static_cast<std::uint8_t>(1 + bytes.size());
      sent_bytes_ = bytes.size();
      break;
    case State::first:
      frame = frame_of(static_cast<std::uint8_t>(0x10 | (bytes.size() >> 8)));
      frame.data[1] = static_cast<std::uint8_t>(bytes.size());
      if (faults_.wrong_length && messages_ % 5 == 0) {
        frame.data[1] = static_cast<std::uint8_t>(frame.data[1] + kConsecutiveFrameBytes);
        broken_ = true;
      }
      std::copy_n(bytes.begin(), kFirstFrameBytes, frame.data.begin() + 2);
      sent_bytes_ = kFirstFrameBytes;
      break;
    case State::waiting:
      abort();  // N_Bs
      return std::nullopt;
    case State::sending: {
      const std::size_t count = std::min(kConsecutiveFrameBytes, bytes.size() - sent_bytes_);
      frame = frame_of(static_cast<std::uint8_t>(0x20 | (sequence_ & 0x0F)));
      std::copy_n(bytes.begin() + static_cast<std::ptrdiff_t>(sent_bytes_), count,
                  frame.data.begin() + 1);
      sent_bytes_ += count;
      if (faults_.wrong_sequence && messages_ % 5 == 0) {
        ++frame.data[0];
        broken_ = true;
      }
      if (faults_.unpadded_last && sent_bytes_ == bytes.size())
        frame.length = static_cast<std::uint8_t>(1 + count);
      ++sequence_;
      break;
    }
  }
  on_the_bus_ = true;
  return frame;
}

bool IsotpSender::on_sent(Nanos at_ns) {
  if (!on_the_bus_) return false;
  on_the_bus_ = false;
  if (sent_bytes_ == message_.size()) {
    state_ = State::idle;
    return true;
  }
  const bool block_ends = state_ == State::first || (block_size_ != 0 && --left_in_block_ == 0);
  if (block_ends) {
    state_ = State::waiting;
    due_ns_ = at_ns + n_bs_ns_;
  } else {
    due_ns_ = at_ns + st_min_ns_;
  }
  return false;
}

void IsotpSender::on_flow_control(Nanos now_ns, const BusFrame& frame) {
  if (state_ != State::waiting || on_the_bus_ || frame.length < 3) return;
  switch (frame.data[0]) {
    case 0x30:
      block_size_ = frame.data[1];
      left_in_block_ = block_size_;
      st_min_ns_ = st_min_ns(frame.data[2]);
      waits_ = 0;
      due_ns_ = now_ns;
      state_ = State::sending;
      return;
    case 0x31:
      if (++waits_ > kMaxWaits) return abort();
      due_ns_ = now_ns + n_bs_ns_;
      return;
    default:  // 32 overflow; 33..3F are not defined and end the message too
      return abort();
  }
}

Nanos IsotpSender::deadline_ns() const {
  return state_ == State::idle || on_the_bus_ ? kNever : due_ns_;
}

}  // namespace packmile::benchvan
