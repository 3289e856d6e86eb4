#include "core/wake_watch.hpp"

namespace packmile {
namespace {

constexpr Tick kOftenFirstMs = 1'000;
constexpr Tick kOftenLongestMs = 10'000;
constexpr Tick kDayMs = 24ull * 3'600'000;
// Each attempt into silence waits four times as long as the one before: a van
// is most likely to come back soon after it went.
constexpr std::uint8_t kSilentGrowth = 3;

Tick later(Tick a, Tick b) { return a > b ? a : b; }

}  // namespace

void WakeWatch::begin(Tick now, WaitReason reason, Tick alert_ms) {
  reason_ = reason;
  begun_ = now;
  // Silence is counted from here on: what is under way now is no sign of life.
  traffic_at_ = now;
  if (supply_mv_) supply_floor_mv_ = *supply_mv_;
  if (alert_ms != 0) alert_until_ = later(alert_until_, now + alert_ms);
  if (reason == WaitReason::not_found) {
    const Tick pause = kFirstBackOffMs << not_found_in_row_;
    back_off_due_ = now + (pause > kLongestBackOffMs ? kLongestBackOffMs : pause);
    if (not_found_in_row_ < kMostNotFound) ++not_found_in_row_;
    alert_until_ = 0;
  }
  if (!prompted_) {
    often_due_ = now + kOftenFirstMs;
    often_step_ms_ = 2 * kOftenFirstMs;
  }
  prompted_ = false;
}

void WakeWatch::alert(Tick now, bool by_supply) {
  if (reason_ == WaitReason::foreign_tester || reason_ == WaitReason::reset_too_often ||
      reason_ == WaitReason::nothing_to_ask)
    return;
  const Tick apart = unanswered_signs_ < kUnansweredSigns ? kFirstBackOffMs : kProbeApartMs;
  if (ever_alerted_ && now - alerted_at_ < apart) return;
  if (unanswered_signs_ < kUnansweredSigns) ++unanswered_signs_;
  ever_alerted_ = true;
  alerted_by_supply_ = by_supply;
  alerted_at_ = now;
  alert_until_ = now + kAlertMs;
  often_due_ = now;
  often_step_ms_ = kOftenFirstMs;
}

void WakeWatch::on_traffic(Tick now) {
  if (now - traffic_at_ >= kBusQuietMs) alert(now, false);
  traffic_at_ = now;
}

void WakeWatch::on_supply(Tick now, std::uint16_t millivolts) {
  const bool first = !supply_mv_;
  supply_mv_ = millivolts;
  if (first || millivolts < supply_floor_mv_) supply_floor_mv_ = millivolts;
  if (millivolts >= levels_.high_mv && millivolts - supply_floor_mv_ >= levels_.rise_mv) {
    supply_floor_mv_ = millivolts;
    alert(now, true);
  }
}

bool WakeWatch::asks_often(Tick now) const {
  if (now < alert_until_) return true;
  return reason_ == WaitReason::silent && supply_high();
}

Tick WakeWatch::within_budget(Tick wanted) const {
  if (probes_ != 0) wanted = later(wanted, probe_at_[probes_ - 1u] + kProbeApartMs);
  if (probes_ == kProbesADay) wanted = later(wanted, probe_at_[0] + kDayMs);
  return wanted;
}

std::optional<Tick> WakeWatch::next_attempt(Tick now) const {
  if (supply_too_low() || reason_ == WaitReason::nothing_to_ask) return std::nullopt;
  if (reason_ == WaitReason::foreign_tester) return begun_ + kForeignTesterMs;
  if (reason_ == WaitReason::reset_too_often) return kListenOnlyMs;
  std::optional<Tick> slow;
  switch (reason_) {
    case WaitReason::not_found:
      slow = back_off_due_;
      break;
    case WaitReason::silent: {
      const std::uint8_t grown = unprompted_ < kSilentGrowth ? unprompted_ : kSilentGrowth;
      slow = within_budget(begun_ + (kProbeApartMs << (2 * grown)));
      break;
    }
    case WaitReason::parked:
      slow = within_budget(begun_ + kParkedListenMs);
      break;
    case WaitReason::foreign_tester:
    case WaitReason::reset_too_often:
    case WaitReason::nothing_to_ask:
      return std::nullopt;
  }
  if (asks_often(now) && (!slow || often_due_ < *slow)) return often_due_;
  return slow;
}

void WakeWatch::on_attempt(Tick now) {
  prompted_ = asks_often(now);
  if (prompted_) {
    often_due_ = now + often_step_ms_;
    often_step_ms_ = often_step_ms_ * 2 > kOftenLongestMs ? kOftenLongestMs : often_step_ms_ * 2;
    return;
  }
  if (reason_ != WaitReason::silent && reason_ != WaitReason::parked) return;
  if (unprompted_ < kSilentGrowth) ++unprompted_;
  if (probes_ == kProbesADay) {
    for (std::size_t i = 1; i < kProbesADay; ++i) probe_at_[i - 1] = probe_at_[i];
    --probes_;
  }
  probe_at_[probes_++] = now;
}

void WakeWatch::on_polled(bool life) {
  if (life) {
    empty_wakes_ = 0;
  } else if (empty_wakes_ < kEmptyWakes) {
    ++empty_wakes_;
  }
}

void WakeWatch::go_on_after(std::uint32_t not_found_in_row) {
  if (not_found_in_row > kMostNotFound) not_found_in_row = kMostNotFound;
  if (not_found_in_row > not_found_in_row_)
    not_found_in_row_ = static_cast<std::uint8_t>(not_found_in_row);
}

void WakeWatch::on_answered() {
  not_found_in_row_ = 0;
  unprompted_ = 0;
  unanswered_signs_ = 0;
  alert_until_ = 0;
  prompted_ = false;
}

}  // namespace packmile
