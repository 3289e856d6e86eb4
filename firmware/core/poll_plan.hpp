// The poll plan: which requests are made of which ECU, and when each is due.
//
// Input     what discovery found; duty and settings.
// Output    the request that is due, in order of its due time.
// Method    PIDs that belong together go into one request where one ECU answers
//           them all; each signal is asked of one ECU only, by preference the
//           one that answers $9A. Requests are physical: one reply ends them. A
//           due time keeps its grid unless it is late by more than a period.
// Bounded   kMaxPolls requests; a request has at most six PIDs of known length
//           and six signals, so that one reply is one block on the card.
// Periods   milliseconds. Chosen so that resampling costs a trip's energy 0.1 %
//           at 5 Hz (0.23 % at 2 Hz) and a SoC edge less than 0.02 points:
//             signal        driving          charging               standing
//             $9A           200              5000; 1000 in a burst  5000
//             $0D           200              10000                  10000
//             $5B           5000             10000; 1000 when fast  60000
//             $42           5000             60000                  60000
//             $A6           5000; 1000 fine  300000                 300000
//             $46 $1F 05 33 60000            300000                 300000
//             the rest      1800000          1800000                1800000
//           A request takes the shortest period of its PIDs.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/can_frame.hpp"
#include "core/duty.hpp"
#include "core/negative_response.hpp"
#include "core/pid_reply.hpp"
#include "core/van_map.hpp"
#include "tick.hpp"

namespace packmile {

// Every PID of every group by itself, and one over.
inline constexpr std::size_t kMaxPolls = 20;
// Period of pack voltage, current and speed when the van is too slow for the
// one wanted.
inline constexpr std::uint32_t kSlowedPeriodMs = 500;
// Pack voltage and current.
inline constexpr std::uint8_t kPackPid = 0x9A;

struct PollRequest {
  std::uint32_t response_id = 0;
  std::uint32_t request_id = 0;
  std::uint32_t period_ms = 0;    // in force; 0: again as soon as the answer is in
  std::uint32_t mean_ms_x16 = 0;  // how long an exchange takes; 0: not known yet
  Tick due = 0;
  Tick silent_since = 0;  // valid while silent_in_row is not 0
  std::array<std::uint8_t, kMaxRequestPids> pid{};
  std::uint8_t pid_count = 0;
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
  void build(Tick now, const VanMap& map);
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
  // A PID is due now, whatever its period.
  void ask_now(Tick now, std::uint8_t pid);

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
  bool split(std::size_t index);
  // Others were answered while this one was not: the van is awake.
  [[nodiscard]] bool silent_alone(const PollRequest& poll) const;
  void took(PollRequest& poll, std::uint32_t ms);
  void put_periods(Tick now);
  [[nodiscard]] std::uint32_t period_of(std::uint8_t pid) const;
  [[nodiscard]] std::uint32_t fast_period_ms() const;

  std::array<PollRequest, kMaxPolls> polls_{};
  Tick replied_at_ = 0;
  std::uint8_t count_ = 0;
  bool slowed_ = false;
  PollConditions conditions_;
};

}  // namespace packmile
