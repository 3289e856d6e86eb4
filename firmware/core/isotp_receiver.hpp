// ISO-TP receiver: joins the CAN frames of one ECU into one message.
//
// Standard  ISO 15765-2, classic CAN, normal addressing; rules as in Linux
//           net/can/isotp.c unless said otherwise here.
// Pure      frames and the time go in, an outcome comes out; no clock, heap, I/O.
// Bounded   kIsotpMaxBytes; a longer message is refused, never stored in part.
//
//   state       frame or time            next        outcome
//   idle        single frame             idle        message
//   idle        first frame              collecting  started (flow control out)
//   idle        first frame, too long    idle        too_long (flow control out)
//   idle        anything else            idle        ignored
//   collecting  consecutive, in order    collecting  collecting; last one: idle, message
//   collecting  consecutive, wrong SN    idle        wrong_sequence
//   collecting  single or first frame    as from idle, the old transfer counts as dropped
//   collecting  anything else            collecting  ignored
//   collecting  N_Cr passed              idle        timed_out; a frame that comes at that
//                                                    moment is then taken as from idle
//
// Malformed frames are ignored and counted; they disturb no transfer (the kernel
// ends it): a single frame of length 0 or longer than its data, a first frame
// with a DLC below 8 or a length below 8, a 32-bit first frame whose length
// needs no 32 bits, a consecutive frame without the bytes that are due.
//
// Terms: SN sequence number; N_Cr longest wait for the next consecutive frame.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/can_frame.hpp"
#include "tick.hpp"

namespace packmile {

// The longest reply that we ask for is a list of calibration ids: 3 + 9 * 16
// bytes. Room for every PID of a request, twice over.
inline constexpr std::size_t kIsotpMaxBytes = 160;
inline constexpr Tick kNCrMs = 1000;  // ISO 15765-2 N_Cr

enum class IsotpOutcome : std::uint8_t {
  ignored,         // not a frame of this transfer; nothing changed but perhaps dropped()
  started,         // first frame taken; send flow_control
  collecting,      // consecutive frame taken; more to come
  message,         // message() is whole until the next call
  wrong_sequence,  // N_WRONG_SN: transfer dropped
  timed_out,       // N_TIMEOUT_Cr: transfer dropped
  too_long,        // N_BUFFER_OVFLW: refused; send flow_control
};

class IsotpReceiver {
 public:
  struct Step {
    IsotpOutcome outcome = IsotpOutcome::ignored;
    // With started and too_long only. Leaves through the transmit gate, within
    // reception_started() .. reception_ended(), also when too_long.
    std::optional<CanFrame> flow_control;
  };

  // Takes no frame at all.
  IsotpReceiver() = default;
  IsotpReceiver(std::uint32_t response_id, std::uint32_t request_id, bool extended);

  [[nodiscard]] Step on_frame(Tick now, const CanFrame& frame);
  // timed_out, or ignored when there was nothing to time out.
  [[nodiscard]] IsotpOutcome on_time(Tick now);
  [[nodiscard]] std::optional<Tick> deadline() const;  // none while idle
  [[nodiscard]] bool collecting() const { return collecting_; }
  [[nodiscard]] std::span<const std::uint8_t> message() const;
  // When the first frame of the present or latest message came.
  [[nodiscard]] Tick begun() const { return begun_; }
  // Transfers lost or refused, and malformed frames, since construction.
  [[nodiscard]] std::uint32_t dropped() const { return dropped_; }
  // Drops a transfer in progress without counting it.
  void abandon() { collecting_ = false; }

  [[nodiscard]] std::uint32_t response_id() const { return response_id_; }
  [[nodiscard]] std::uint32_t request_id() const { return request_id_; }
  [[nodiscard]] bool extended() const { return extended_; }

 private:
  [[nodiscard]] Step on_single(Tick now, const CanFrame& frame);
  [[nodiscard]] Step on_first(Tick now, const CanFrame& frame);
  [[nodiscard]] Step on_consecutive(Tick now, const CanFrame& frame);
  [[nodiscard]] Step malformed();
  [[nodiscard]] CanFrame flow_control(std::uint8_t status) const;
  void end_old_transfer();
  void append(std::span<const std::uint8_t> bytes);

  // No frame has such an id.
  static constexpr std::uint32_t kNoId = 0xFFFFFFFF;

  Tick deadline_ = 0;
  Tick begun_ = 0;
  std::uint32_t response_id_ = kNoId;
  std::uint32_t request_id_ = kNoId;
  std::uint32_t dropped_ = 0;
  std::uint8_t total_bytes_ = 0;
  std::uint8_t have_bytes_ = 0;
  std::uint8_t next_sn_ = 0;
  bool extended_ = false;
  bool collecting_ = false;
  std::array<std::uint8_t, kIsotpMaxBytes> bytes_{};
};

}  // namespace packmile
