// The poll plan: which requests are made of which ECU, and when each is due.
//
// Input     what discovery found; duty and settings.
// Output    the request that is due, in order of its due time.
// Method    PIDs that belong together go into one request where one ECU answers
//           them all; each signal is asked of one ECU only, by preference the
//           one that answers $9A; by service 22 where service 01 does not have
//           it. Owner's identifiers are asked for one by one. Requests are
//           physical: one reply ends them. A due time keeps its grid unless it is
//           late by more than a period.
// Bounded   kMaxPolls requests; a request has at most six PIDs of known length (or
//           three by service 22) and six signals, so that one reply is one block
//           on the card.
// Periods   milliseconds. Chosen so that resampling costs a trip's energy 0.1 %
//           at 5 Hz (0.23 % at 2 Hz) and a SoC edge less than 0.02 points:
//             signal        driving          charging               standing
//             $9A           200              5000; 1000 in a burst  10000
//             $0D           200              10000                  10000
//             $5B           5000             10000; 1000 when fast  60000
//             $42           5000             60000                  60000
//             $A6           5000; 1000 fine  300000                 300000
//             $46 $1F 05 33 60000            300000                 300000
//             the rest      1800000          1800000                1800000
//           A request takes the shortest period of its PIDs. An owner's signal
//           has that of the standard signal of its role (a charger's state: 10 s
//           while charging); with a period of its own, that one while driving
//           and none shorter otherwise.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/can_frame.hpp"
#include "core/duty.hpp"
#include "core/negative_response.hpp"
#include "core/owners_signals.hpp"
#include "core/pid_reply.hpp"
#include "core/van_map.hpp"
#include "tick.hpp"

namespace packmile {

// Seven groups and all owner's identifiers, and room to split some.
inline constexpr std::size_t kMaxPolls = 28;
// Period of pack voltage, current and speed when the van is too slow for the
// one wanted.
inline constexpr std::uint32_t kSlowedPeriodMs = 500;

struct PollRequest {
  std::uint32_t response_id = 0;
  std::uint32_t request_id = 0;
  std::uint32_t period_ms = 0;    // in force; 0: again as soon as the answer is in
  std::uint32_t mean_ms_x16 = 0;  // how long an exchange takes; 0: not known yet
  Tick due = 0;
  Tick silent_since = 0;  // valid while silent_in_row is not 0
  std::array<std::uint8_t, kMaxRequestPids> pid{};
  std::uint8_t pid_count = 0;
  bool by_did = false;           // the PIDs by service 22
  std::uint16_t owners_did = 0;  // of owner's signals; 0: PIDs are asked for
  std::uint16_t roles = 0;       // of these signals, a bit each
  bool extended = false;
  bool retired = false;             // refused for good: not asked again
  std::uint8_t missing_in_row = 0;  // replies in a row without one of the PIDs
  std::uint8_t silent_in_row = 0;
  std::uint8_t refused_in_row = 0;

  [[nodiscard]] std::span<const std::uint8_t> pids() const {
    return std::span<const std::uint8_t>(pid).first(pid_count);
  }
  [[nodiscard]] bool asks(std::uint8_t wanted) const {
    for (const std::uint8_t one : pids())
      if (one == wanted) return true;
    return false;
  }
  [[nodiscard]] bool has(SignalRole role) const {
    return (roles >> static_cast<unsigned>(role) & 1) != 0;
  }
  [[nodiscard]] bool tells_current() const { return asks(kPackPid) || has(SignalRole::pack_a); }
  [[nodiscard]] std::uint8_t service() const;
  // A positive answer to it, and not to another one.
  [[nodiscard]] bool is_answered_by(std::span<const std::uint8_t> message) const;
  // The PIDs of an answer. One to several PIDs that lacks one and cannot be read
  // to its end has none: where one of them is shorter or longer than the standard
  // says, what follows is taken for its data, and which one is not to be told.
  [[nodiscard]] PidReply read(std::span<const std::uint8_t> message) const;
};

// Everything that decides the periods.
struct PollConditions {
  Duty duty = Duty::driving;
  std::optional<std::uint32_t> driving_period_ms = std::nullopt;   // from the settings
  std::optional<std::uint32_t> charging_period_ms = std::nullopt;  // from the settings
  bool pack_burst = false;
  bool soc_fast = false;
  bool odometer_fine = false;

  bool operator==(const PollConditions&) const = default;
};

class PollPlan {
 public:
  // `owners` must outlive the plan.
  void build(Tick now, const VanMap& map, const OwnersSignals& owners);
  // Nothing that could be asked is left.
  [[nodiscard]] bool empty() const;
  [[nodiscard]] std::span<const PollRequest> polls() const {
    return std::span<const PollRequest>(polls_).first(count_);
  }

  // Puts the periods in force. A request whose period became shorter is due
  // that much sooner. True: something other than a burst changed.
  bool set_conditions(Tick now, const PollConditions& conditions);
  // Everything is due now: after a silence.
  void resume(Tick now);
  // The odometer is due now, whatever its period.
  void ask_odometer_now(Tick now);

  // Index of the request to make now; none: nothing is due.
  [[nodiscard]] std::optional<std::size_t> due_at(Tick now) const;
  [[nodiscard]] std::optional<Tick> deadline() const;  // none: nothing to ask
  [[nodiscard]] CanFrame request(std::size_t index) const;

  void on_sent(Tick now, std::size_t index);
  // The exchange is over, with one of these. True: the plan changed.
  bool on_reply(Tick now, std::size_t index, const PidReply& reply, std::uint32_t took_ms);
  bool on_silence(Tick now, std::size_t index, std::uint32_t took_ms);
  bool on_refused(Tick now, std::size_t index, NegativeAction action, std::uint32_t took_ms);

  // Slows $9A and $0D down while the exchanges take longer than the line has, or
  // while others crowd it, and lets them go again. True: that changed. Call about
  // every 10 s.
  bool balance(Tick now, bool crowded = false);
  [[nodiscard]] bool slowed() const { return slowed_; }

 private:
  void add_group(Tick now, const VanMap& map, std::span<const std::uint8_t> group);
  // Identifiers with a signal that is wanted fast, or those without.
  void add_owners(Tick now, bool fast);
  bool split(std::size_t index);
  // Others were answered while this one was not: the van is awake.
  [[nodiscard]] bool silent_alone(const PollRequest& poll) const;
  void took(PollRequest& poll, std::uint32_t ms);
  void put_periods(Tick now);
  [[nodiscard]] std::uint32_t period_of(std::uint8_t pid) const;
  [[nodiscard]] std::uint32_t period_of_owners(std::size_t index) const;
  [[nodiscard]] std::uint32_t period_of(const PollRequest& poll) const;
  [[nodiscard]] std::uint32_t fast_period_ms() const;

  const OwnersSignals* owners_ = nullptr;
  Tick replied_at_ = 0;
  std::uint8_t count_ = 0;
  bool slowed_ = false;
  PollConditions conditions_;
  std::array<PollRequest, kMaxPolls> polls_{};
};

}  // namespace packmile
