// The transmit gate: the only way by which a byte reaches the adapter, and so
// the van's bus. Default deny; no setting widens it but a list of data
// identifiers to read.
//
// Standard  ISO 15765-4 ids, SAE J1979 services, ISO 15765-2 flow control.
// Output    take_bytes(): whole slcan lines in the order in which they were let
//           through.
// Bounded   kGateQueueBytes; a line that does not fit is not queued at all.
//
// A request is let through if and only if
//   the adapter was last told to open (not to listen or to close), and
//   it is a data frame with DLC 8 to 7DF, 7E0..7E7, 18DB33F1, or to 18DAxxF1 of
//   an ECU that has answered, and
//   it is one single frame whose length fits its service:
//     01  one to six PIDs
//     09  one info type
//     22  one to three data identifiers, each of which is
//         F400, which says what F4xx an ECU has: to all ECUs too;
//         F190 (VIN), or F4xx, the PIDs of service 01: to one ECU; or
//         listed for that very request id by allow_dids(), which counts as
//         heard on it
// A flow control is let through if and only if
//   the adapter was last told to open, and
//   it is a data frame with DLC 8 and 30 00 00 or 32 00 00, and
//   it goes to the physical request id of a reception that is in progress, and
//   that ECU was asked, by itself or with all others, since its last one.
// What follows the message in a frame is padding and may be anything.
//
// A parked van that is known may be asked kParkedRequestsADay times in a day;
// further requests are held back, whoever wants them.
#pragma once
#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <span>

#include "core/can_frame.hpp"
#include "core/slcan.hpp"
#include "tick.hpp"

namespace packmile {

// Three of the longest lines, and the commands around them.
inline constexpr std::size_t kGateQueueBytes = 96;

// Common practice, no source: a network stays awake for about 2 min after it was
// asked and draws about 4 A, 0.13 Ah a request where each wakes it anew.
inline constexpr std::uint32_t kParkedRequestsADay = 60;
inline constexpr Tick kParkedDayMs = 24ull * 3'600'000;

// A data identifier that may be read by service 22 of the ECU with this
// physical request id. Above 7FF: a 29-bit id.
struct AllowedDid {
  std::uint32_t request_id = 0;
  std::uint16_t did = 0;

  bool operator==(const AllowedDid&) const = default;
};

enum class GateOutcome : std::uint8_t {
  queued,
  refused,  // against the rules: counted, nothing queued
  full,     // within the rules, no room now: nothing queued or changed
  used_up,  // within the rules, but a parked van has been asked enough today
};

class TransmitGate final {
 public:
  [[nodiscard]] GateOutcome send_request(const CanFrame& frame);
  [[nodiscard]] GateOutcome send_flow_control(const CanFrame& frame);
  // Never refused; `open` and then `listen_only` or `close` decide whether
  // frames pass.
  [[nodiscard]] GateOutcome adapter_command(AdapterCommand command);

  // An ECU was heard on this id. Opens the way to a 29-bit ECU if that was asked,
  // by itself or with all others; what it says to another tester is no answer
  // to us. Anything that is no response id changes nothing.
  void ecu_answered(std::uint32_t response_id, bool extended);
  void forget_ecus();
  // A first frame came from the ECU with this physical request id / its message
  // is whole, refused, lost or given up.
  void reception_started(std::uint32_t request_id, bool extended);
  void reception_ended(std::uint32_t request_id, bool extended);
  // The list stays with the caller and must outlive its use. Default: none.
  void allow_dids(std::span<const AllowedDid> dids) { dids_ = dids; }
  // From now on requests count as sent while parked (or no longer). `capped`:
  // and no more of them than kParkedRequestsADay leave.
  void set_parked(bool parked, bool capped = false) {
    parked_ = parked;
    capped_ = parked && capped;
  }
  // The present time; never runs backwards.
  void set_time(Tick now) { now_ = now; }

  // Moves up to out.size() bytes out of the queue; returns how many.
  [[nodiscard]] std::size_t take_bytes(std::span<std::uint8_t> out);
  [[nodiscard]] bool empty() const { return size_ == 0; }
  // The line to the adapter is gone: forgets what is queued, receptions, and
  // that the adapter was open.
  void link_lost();

  // Since construction. Flow control is not a request.
  [[nodiscard]] std::uint32_t requests() const { return requests_; }
  [[nodiscard]] std::uint32_t requests_while_parked() const { return requests_while_parked_; }
  [[nodiscard]] std::uint32_t refused() const { return refused_; }

 private:
  // One bit per ECU: 11-bit ECUs 0..7, then 29-bit ECUs by address.
  static constexpr std::size_t kSlots = 8 + 256;
  using Slots = std::bitset<kSlots>;

  [[nodiscard]] bool is_allowed_request(const CanFrame& frame) const;
  [[nodiscard]] bool is_allowed_flow_control(const CanFrame& frame) const;
  [[nodiscard]] bool is_listed(const CanFrame& frame, std::uint16_t did) const;
  [[nodiscard]] bool is_allowed_did(const CanFrame& frame, std::uint16_t did) const;
  [[nodiscard]] bool put(std::span<const std::uint8_t> line);
  [[nodiscard]] GateOutcome refuse();

  std::span<const AllowedDid> dids_;
  std::uint32_t requests_ = 0;
  std::uint32_t requests_while_parked_ = 0;
  std::uint32_t refused_ = 0;
  // Capped requests of the day that began with the first of them.
  std::uint32_t parked_today_ = 0;
  Tick parked_day_ = 0;
  Tick now_ = 0;
  std::uint8_t size_ = 0;
  bool open_ = false;
  bool parked_ = false;
  bool capped_ = false;
  Slots answered_;   // has been heard
  Slots asked_;      // may be sent one flow control
  Slots receiving_;  // reception in progress
  std::array<std::uint8_t, kGateQueueBytes> queue_{};
};

}  // namespace packmile
