#include "core/transmit_gate.hpp"

#include <algorithm>
#include <optional>

#include "obd_address.hpp"

namespace packmile {
namespace {

constexpr std::uint8_t kFrameBytes = 8;

constexpr std::uint8_t kCurrentData = 0x01;
constexpr std::uint8_t kVehicleInformation = 0x09;
constexpr std::uint8_t kReadDataByIdentifier = 0x22;
constexpr std::uint16_t kGateVinDid = 0xF190;
constexpr std::uint16_t kFirstObdDid = 0xF400;
constexpr std::uint16_t kLastObdDid = 0xF4FF;

// Place of an ECU in the sets of the gate; none: not a physical request id.
std::optional<std::size_t> slot_of(std::uint32_t request_id, bool extended) {
  const auto ecu = ecu_of_request_id(request_id, extended);
  if (!ecu) return std::nullopt;
  return extended ? kEcusWith11Bits + *ecu : *ecu;
}

bool has_frame_form(const CanFrame& frame) { return !frame.remote && frame.length == kFrameBytes; }

}  // namespace

GateOutcome TransmitGate::send_request(const CanFrame& frame) {
  if (!is_allowed_request(frame)) return refuse();
  if (parked_today_ != 0 && now_ - parked_day_ >= kParkedDayMs) parked_today_ = 0;
  if (capped_ && parked_today_ >= kParkedRequestsADay) return GateOutcome::used_up;
  std::array<std::uint8_t, kMaxSlcanLineBytes> line{};
  const std::size_t size = write_slcan(frame, line);
  if (!put(std::span<const std::uint8_t>(line).first(size))) return GateOutcome::full;
  if (const auto slot = slot_of(frame.id, frame.extended))
    asked_[*slot] = true;
  else
    for (std::size_t i = 0; i < kSlots; ++i)
      if ((i >= kEcusWith11Bits) == frame.extended) asked_[i] = true;
  ++requests_;
  if (parked_) ++requests_while_parked_;
  if (capped_ && parked_today_++ == 0) parked_day_ = now_;
  return GateOutcome::queued;
}

GateOutcome TransmitGate::send_flow_control(const CanFrame& frame) {
  if (!is_allowed_flow_control(frame)) return refuse();
  std::array<std::uint8_t, kMaxSlcanLineBytes> line{};
  const std::size_t size = write_slcan(frame, line);
  if (!put(std::span<const std::uint8_t>(line).first(size))) return GateOutcome::full;
  asked_[*slot_of(frame.id, frame.extended)] = false;
  return GateOutcome::queued;
}

GateOutcome TransmitGate::adapter_command(AdapterCommand command) {
  std::array<std::uint8_t, kMaxSlcanLineBytes> bytes{};
  const std::string_view line = slcan_line(command);
  std::copy(line.begin(), line.end(), bytes.begin());
  if (!put(std::span<const std::uint8_t>(bytes).first(line.size()))) return GateOutcome::full;
  switch (command) {
    case AdapterCommand::open:
      open_ = true;
      break;
    case AdapterCommand::close:
    case AdapterCommand::listen_only:
      open_ = false;
      break;
    case AdapterCommand::rate_500:
    case AdapterCommand::rate_250:
    case AdapterCommand::status:
      break;
  }
  return GateOutcome::queued;
}

void TransmitGate::ecu_answered(std::uint32_t response_id, bool extended) {
  const auto request_id = request_id_of(response_id, extended);
  if (!request_id) return;
  const auto slot = slot_of(*request_id, extended);
  if (slot && asked_[*slot]) answered_[*slot] = true;
}

void TransmitGate::forget_ecus() { answered_.reset(); }

void TransmitGate::reception_started(std::uint32_t request_id, bool extended) {
  if (const auto slot = slot_of(request_id, extended)) receiving_[*slot] = true;
}

void TransmitGate::reception_ended(std::uint32_t request_id, bool extended) {
  if (const auto slot = slot_of(request_id, extended)) receiving_[*slot] = false;
}

std::size_t TransmitGate::take_bytes(std::span<std::uint8_t> out) {
  const std::size_t taken = std::min<std::size_t>(out.size(), size_);
  std::copy_n(queue_.begin(), taken, out.begin());
  std::copy(queue_.begin() + static_cast<std::ptrdiff_t>(taken), queue_.begin() + size_,
            queue_.begin());
  size_ = static_cast<std::uint8_t>(size_ - taken);
  return taken;
}

void TransmitGate::link_lost() {
  size_ = 0;
  open_ = false;
  asked_.reset();
  receiving_.reset();
}

bool TransmitGate::is_allowed_request(const CanFrame& frame) const {
  if (!open_ || !has_frame_form(frame)) return false;
  bool heard = true;
  if (frame.id != functional_id(frame.extended)) {
    const auto slot = slot_of(frame.id, frame.extended);
    if (!slot) return false;
    heard = !frame.extended || answered_[*slot];
  }
  const std::uint8_t bytes = frame.data[0];
  // The upper half is the frame type: 0 is a single frame.
  if (bytes == 0 || bytes > 7) return false;
  switch (frame.data[1]) {
    case kCurrentData:
      return heard && bytes >= 2;
    case kVehicleInformation:
      return heard && bytes == 2;
    case kReadDataByIdentifier:
      if (bytes < 3 || bytes % 2 == 0) return false;
      for (std::size_t i = 2; i < bytes; i += 2) {
        const auto did = static_cast<std::uint16_t>(frame.data[i] << 8 | frame.data[i + 1]);
        if (heard ? !is_allowed_did(frame, did) : !is_listed(frame, did)) return false;
      }
      return true;
  }
  return false;
}

bool TransmitGate::is_allowed_flow_control(const CanFrame& frame) const {
  if (!open_ || !has_frame_form(frame)) return false;
  const auto slot = slot_of(frame.id, frame.extended);
  if (!slot || !receiving_[*slot] || !asked_[*slot]) return false;
  return (frame.data[0] == 0x30 || frame.data[0] == 0x32) && frame.data[1] == 0 &&
         frame.data[2] == 0;
}

bool TransmitGate::is_listed(const CanFrame& frame, std::uint16_t did) const {
  // Listed for one ECU: never for all of them at once, whatever the list says.
  if (!ecu_of_request_id(frame.id, frame.extended)) return false;
  for (const AllowedDid& allowed : dids_)
    if (allowed.did == did && allowed.request_id == frame.id) return true;
  return false;
}

bool TransmitGate::is_allowed_did(const CanFrame& frame, std::uint16_t did) const {
  if (did == kFirstObdDid) return true;
  if (did == kGateVinDid || (did > kFirstObdDid && did <= kLastObdDid))
    return ecu_of_request_id(frame.id, frame.extended).has_value();
  return is_listed(frame, did);
}

bool TransmitGate::put(std::span<const std::uint8_t> line) {
  if (line.empty() || line.size() > queue_.size() - size_) return false;
  std::copy(line.begin(), line.end(), queue_.begin() + size_);
  size_ = static_cast<std::uint8_t>(size_ + line.size());
  return true;
}

GateOutcome TransmitGate::refuse() {
  ++refused_;
  return GateOutcome::refused;
}

}  // namespace packmile
