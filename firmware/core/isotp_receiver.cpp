#include "core/isotp_receiver.hpp"

#include <algorithm>

#include "core/obd_request.hpp"

namespace packmile {
namespace {

// Upper half of the first byte.
constexpr std::uint8_t kSingle = 0x0;
constexpr std::uint8_t kFirst = 0x1;
constexpr std::uint8_t kConsecutive = 0x2;

constexpr std::uint8_t kContinue = 0x30;
constexpr std::uint8_t kOverflow = 0x32;

constexpr std::size_t kFirstFrameData = 6;
constexpr std::size_t kConsecutiveData = 7;
// A shorter message fits into a single frame.
constexpr std::size_t kMinSegmented = 8;
constexpr std::uint32_t kMax12BitLength = 4095;

}  // namespace

IsotpReceiver::IsotpReceiver(std::uint32_t response_id, std::uint32_t request_id, bool extended)
    : response_id_(response_id), request_id_(request_id), extended_(extended) {}

IsotpReceiver::Step IsotpReceiver::on_frame(Tick now, const CanFrame& frame) {
  if (frame.id != response_id_ || frame.extended != extended_ || frame.remote) return {};
  const IsotpOutcome expired = on_time(now);
  Step step;
  if (frame.length == 0 || frame.length > frame.data.size()) {
    step = malformed();
  } else {
    const std::uint8_t type = frame.data[0] >> 4;
    if (type == kSingle)
      step = on_single(now, frame);
    else if (type == kFirst)
      step = on_first(now, frame);
    else if (type == kConsecutive)
      step = on_consecutive(now, frame);
  }
  if (step.outcome == IsotpOutcome::ignored) step.outcome = expired;
  return step;
}

IsotpOutcome IsotpReceiver::on_time(Tick now) {
  if (!collecting_ || now < deadline_) return IsotpOutcome::ignored;
  end_old_transfer();
  return IsotpOutcome::timed_out;
}

std::optional<Tick> IsotpReceiver::deadline() const {
  if (!collecting_) return std::nullopt;
  return deadline_;
}

std::span<const std::uint8_t> IsotpReceiver::message() const {
  if (collecting_) return {};
  return std::span<const std::uint8_t>(bytes_).first(have_bytes_);
}

IsotpReceiver::Step IsotpReceiver::on_single(Tick now, const CanFrame& frame) {
  const std::uint8_t bytes = frame.data[0] & 0x0F;
  if (bytes == 0 || bytes + 1 > frame.length) return malformed();
  end_old_transfer();
  begun_ = now;
  append(std::span<const std::uint8_t>(frame.data).subspan(1, bytes));
  return {IsotpOutcome::message, std::nullopt};
}

IsotpReceiver::Step IsotpReceiver::on_first(Tick now, const CanFrame& frame) {
  if (frame.length != frame.data.size()) return malformed();
  std::uint32_t bytes = static_cast<std::uint32_t>(frame.data[0] & 0x0F) << 8 |
                        static_cast<std::uint32_t>(frame.data[1]);
  if (bytes == 0) {
    for (std::size_t i = 2; i < 6; ++i) bytes = bytes << 8 | frame.data[i];
    if (bytes <= kMax12BitLength) return malformed();
  } else if (bytes < kMinSegmented) {
    return malformed();
  }
  end_old_transfer();
  if (bytes > bytes_.size()) {
    ++dropped_;
    return {IsotpOutcome::too_long, flow_control(kOverflow)};
  }
  begun_ = now;
  deadline_ = now + kNCrMs;
  collecting_ = true;
  next_sn_ = 1;
  total_bytes_ = static_cast<std::uint8_t>(bytes);
  append(std::span<const std::uint8_t>(frame.data).subspan(2, kFirstFrameData));
  return {IsotpOutcome::started, flow_control(kContinue)};
}

IsotpReceiver::Step IsotpReceiver::on_consecutive(Tick now, const CanFrame& frame) {
  if (!collecting_) return {};
  const std::size_t due =
      std::min<std::size_t>(kConsecutiveData, static_cast<std::size_t>(total_bytes_ - have_bytes_));
  if (frame.length < 1 + due) return malformed();
  if ((frame.data[0] & 0x0F) != next_sn_) {
    end_old_transfer();
    return {IsotpOutcome::wrong_sequence, std::nullopt};
  }
  append(std::span<const std::uint8_t>(frame.data).subspan(1, due));
  next_sn_ = (next_sn_ + 1) & 0x0F;
  deadline_ = now + kNCrMs;
  if (have_bytes_ < total_bytes_) return {IsotpOutcome::collecting, std::nullopt};
  collecting_ = false;
  return {IsotpOutcome::message, std::nullopt};
}

IsotpReceiver::Step IsotpReceiver::malformed() {
  ++dropped_;
  return {};
}

CanFrame IsotpReceiver::flow_control(std::uint8_t status) const {
  CanFrame frame;
  frame.id = request_id_;
  frame.extended = extended_;
  frame.length = 8;
  frame.data.fill(kCanPadding);
  frame.data[0] = status;
  frame.data[1] = 0;  // block size: no further flow control
  frame.data[2] = 0;  // STmin: as fast as the ECU can
  return frame;
}

void IsotpReceiver::end_old_transfer() {
  if (collecting_) ++dropped_;
  collecting_ = false;
  have_bytes_ = 0;
}

void IsotpReceiver::append(std::span<const std::uint8_t> bytes) {
  for (const std::uint8_t byte : bytes) bytes_[have_bytes_++] = byte;
}

}  // namespace packmile
