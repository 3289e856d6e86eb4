// When a van that is not being asked may be asked again.
//
// Input     traffic of others and the supply, seen while listening.
// Output    the moment of the next attempt, if there may be one.
// Rule      the worst hazard is a network that stays awake because it is asked.
//           Without a sign of life there are few attempts; a sign of life allows
//           many for a short time. Below the level of the battery's kind there is
//           none at all.
// Pure      no clock, heap, I/O.
//
//   why we wait      next attempt without a sign of life
//   not_found        10 s after, then doubling up to 24 h, over all boots of a card
//   silent           supply high: after 1, 2, 4, 8, then every 10 s;
//                    else after 15 min, 1 h, 4 h, 16 h, within the budget
//   parked           20 min after, within the budget
//   foreign_tester   10 min after; signs of life change nothing
//   reset_too_often  an hour after; signs of life change nothing
//   nothing_to_ask   never
// The budget: 4 attempts in any 24 h, at least 15 min apart.
//
// A sign of life is traffic after kBusQuietMs without any, or a supply that
// rises to the level of battery_levels.hpp. It allows an attempt at once, then
// after 1, 2, 4, 8, 10 s and so on for a minute; where no van was found yet, one.
//
// A network may wake by itself, every hour or for a top-up, and being asked
// keeps it awake: after kEmptyWakes signs in a row that led to a parked van,
// signs are no longer believed by themselves; then an attempt is one probe, and
// polling begins when its answer shows use.
#pragma once
#include <array>
#include <cstdint>
#include <optional>

#include "core/battery_levels.hpp"
#include "core/boot_history.hpp"
#include "tick.hpp"

namespace packmile {

enum class WaitReason : std::uint8_t {
  not_found,        // nobody answered discovery at any rate
  silent,           // answers ceased, or the adapter saw errors
  parked,           // answers came, and showed a parked van
  foreign_tester,   // somebody else asks on this bus
  reset_too_often,  // the third reset within 10 min
  nothing_to_ask    // the van answers nothing that we keep
};

// Common practice, no source.
inline constexpr Tick kBusQuietMs = 2'000;
inline constexpr Tick kAlertMs = 60'000;
inline constexpr Tick kFirstBackOffMs = 10'000;
inline constexpr Tick kLongestBackOffMs = 24ull * 3'600'000;
inline constexpr Tick kParkedListenMs = 20ull * 60'000;
inline constexpr Tick kForeignTesterMs = 10ull * 60'000;
inline constexpr Tick kProbeApartMs = 15ull * 60'000;
inline constexpr std::size_t kProbesADay = 4;
// So many signs of life that led to no answer are believed at once; after
// them, one each kProbeApartMs.
inline constexpr std::uint8_t kUnansweredSigns = 10;
inline constexpr std::uint8_t kEmptyWakes = 3;
// From here on kLongestBackOffMs holds, and counting says nothing more.
inline constexpr std::uint8_t kMostNotFound = 14;
static_assert((kFirstBackOffMs << kMostNotFound) > kLongestBackOffMs);

class WakeWatch {
 public:
  void set_levels(const BatteryLevels& levels) { levels_ = levels; }
  // Waiting begins. `alert_ms`: for so long there is reason to ask again soon.
  void begin(Tick now, WaitReason reason, Tick alert_ms = 0);
  // A frame or an error on the bus, seen while listening.
  void on_traffic(Tick now);
  // Also outside of waiting: the level counts always.
  void on_supply(Tick now, std::uint16_t millivolts);

  // When to try; may lie in the past. None: not by the clock alone.
  [[nodiscard]] std::optional<Tick> next_attempt(Tick now) const;
  void on_attempt(Tick now);
  // An attempt was answered: the back-off starts anew.
  void on_answered();
  // Attempts that found no van, in a row; at most kMostNotFound are counted.
  [[nodiscard]] std::uint8_t not_found_in_row() const { return not_found_in_row_; }
  // So many were made before this boot: the back-off goes on from there. An
  // attempt that is due already stays due.
  void go_on_after(std::uint32_t not_found_in_row);
  // Polling that followed a sign of life is over. `life`: the van was used or
  // charged meanwhile.
  void on_polled(bool life);

  // The present attempt followed a sign of life.
  [[nodiscard]] bool prompted() const { return prompted_; }
  // The sign was a supply that rose.
  [[nodiscard]] bool prompted_by_supply() const { return prompted_ && alerted_by_supply_; }
  [[nodiscard]] bool believes_signs() const { return empty_wakes_ < kEmptyWakes; }
  [[nodiscard]] WaitReason reason() const { return reason_; }
  [[nodiscard]] bool supply_too_low() const {
    return supply_mv_ && *supply_mv_ < levels_.too_low_mv;
  }
  [[nodiscard]] bool supply_known() const { return supply_mv_.has_value(); }
  [[nodiscard]] bool supply_high() const { return supply_mv_ && *supply_mv_ >= levels_.high_mv; }

 private:
  void alert(Tick now, bool by_supply);
  [[nodiscard]] bool asks_often(Tick now) const;
  [[nodiscard]] Tick within_budget(Tick wanted) const;

  Tick begun_ = 0;
  Tick alert_until_ = 0;
  Tick alerted_at_ = 0;
  Tick traffic_at_ = 0;
  Tick often_due_ = 0;
  Tick often_step_ms_ = 0;
  Tick back_off_due_ = 0;
  std::array<Tick, kProbesADay> probe_at_{};  // oldest first
  std::uint8_t probes_ = 0;
  std::uint8_t not_found_in_row_ = 0;
  std::uint8_t unprompted_ = 0;  // attempts since the last answer
  std::uint8_t unanswered_signs_ = 0;
  std::uint8_t empty_wakes_ = 0;  // in a row
  BatteryLevels levels_ = levels_of(BatteryKind::lead);
  std::optional<std::uint16_t> supply_mv_;
  std::uint16_t supply_floor_mv_ = 0;
  WaitReason reason_ = WaitReason::not_found;
  bool prompted_ = false;
  bool ever_alerted_ = false;
  bool alerted_by_supply_ = false;
};

}  // namespace packmile
