#include "reading/sign_votes.hpp"

#include <algorithm>
#include <cmath>

#include "reading/coding_votes.hpp"

namespace packmile {
namespace {

constexpr std::int64_t kWalkSpanMs = 30LL * 86'400'000;
// Nearer pairs gave the wrong sign in 8 of 12 modelled drives whose voltage came
// 0.6 s late; at 2 s none.
constexpr std::int64_t kPairMs = 2'000;
// A pair further apart has other reasons to differ. Common practice, no source.
constexpr std::int64_t kPairLongestMs = 10'000;
constexpr int kSagTenthsA = 200;
constexpr std::size_t kMostOhms = 4'096;
constexpr double kKineticLeast = 5.0;  // m^2/s^3
constexpr std::int64_t kKineticLongestMs = 4'000;
constexpr std::int64_t kKineticCoveredMs = 1'000;
constexpr std::int64_t kSignSocPauseMs = 120'000;
constexpr std::int64_t kSocVoteCodes = 2;
// More than this between two answers is a controller that has thought again, not
// a charge: 3 points. Common practice, no source.
constexpr std::int64_t kReanchorCodes = 8;
constexpr std::int64_t kUnseenCodes = 4;
constexpr std::int64_t kSocFull = 255;
constexpr int kUnseenTenthsA = 3;

struct Cursor {
  std::size_t at = 0;
  // First index whose time is not before `t`; `t` never falls between calls.
  std::size_t seek(const std::vector<std::int64_t>& time_ms, std::int64_t t) {
    while (at < time_ms.size() && time_ms[at] < t) ++at;
    return at;
  }
};

}  // namespace

double walk_wrong(double right, int k) { return 1 / (1 + std::pow(right / (1 - right), k)); }

double walk_mean_votes(double right, int k) {
  const double ratio = std::pow((1 - right) / right, k);
  return k / (2 * right - 1) * (1 - ratio) / (1 + ratio);
}

void VoteWalk::vote(std::int64_t time_ms, bool positive) {
  ++(positive ? positive_ : negative_);
  const std::int64_t span = time_ms / kWalkSpanMs;
  if (last_span_ended_ && span == last_span_) return;
  Walk& walk = walks_[span];
  if (!walk.ended) walk.sum += positive ? 1 : -1;
  const bool ends = !walk.ended && std::abs(walk.sum) == kWalkEnd;
  walk.ended = walk.ended || ends;
  last_span_ = span;
  last_span_ended_ = walk.ended;
  if (!ends) return;
  (walk.sum > 0 ? reached_positive_ : reached_negative_) = true;
}

bool VoteWalk::speaks_against(CurrentSign sign) const {
  const std::int64_t votes = positive_ + negative_;
  const std::int64_t against = sign == CurrentSign::discharge_positive ? negative_ : positive_;
  return votes >= 3 && 3 * against >= 2 * votes;
}

SignVotes::SignVotes() { ohms_.reserve(kMostOhms); }

void SignVotes::observe(const Episode& episode, CurrentCoding coding, const PackCharge& charge) {
  if (episode.pack.time_ms.size() < 2) return;
  observe_sag(episode.pack);
  if (coding == CurrentCoding::unknown) return;
  observe_kinetic(episode, charge.sum());
  observe_soc(episode, coding, charge.sum());
}

void SignVotes::observe_sag(const PackSeries& pack) {
  std::size_t from = 0;
  for (std::size_t to = 1; to < pack.time_ms.size(); ++to) {
    const std::int64_t apart = pack.time_ms[to] - pack.time_ms[from];
    if (apart < kPairMs) continue;
    // Differences of words are the same under either coding.
    const int change =
        static_cast<std::int16_t>(static_cast<std::uint16_t>(pack.a_raw[to] - pack.a_raw[from]));
    const int sag = static_cast<int>(pack.v_raw[to]) - static_cast<int>(pack.v_raw[from]);
    from = to;
    const int size = std::abs(change);
    if (apart > kPairLongestMs || size < kSagTenthsA || size > 2 * kPossibleTenthsA || sag == 0) {
      continue;
    }
    vote(SignKind::sag, pack.time_ms[to], (sag < 0) == (change > 0));
    if (ohms_.size() < kMostOhms) {
      ohms_.push_back(static_cast<float>(std::abs(sag) / 6.4 / size));
    }
  }
}

void SignVotes::observe_kinetic(const Episode& episode, const std::vector<std::int64_t>& charge) {
  const auto& speed = episode.speed;
  const auto& rows = episode.pack.time_ms;
  windows_.clear();
  means_.clear();
  Cursor first_row;
  Cursor last_row;
  std::size_t from = 0;
  for (std::size_t to = 1; to < speed.time_ms.size(); ++to) {
    const std::int64_t start_ms = speed.time_ms[from];
    const std::int64_t end_ms = speed.time_ms[to];
    const std::int64_t apart = end_ms - start_ms;
    if (apart < kPairMs) continue;
    const double before = speed.raw[from] / 3.6;
    const double after = speed.raw[to] / 3.6;
    from = to;
    if (apart > kKineticLongestMs || before + after <= 0) continue;
    const std::size_t a = first_row.seek(rows, start_ms);
    const std::size_t past = last_row.seek(rows, end_ms + 1);
    if (past == 0 || a + 1 >= past) continue;
    const std::size_t b = past - 1;
    const std::int64_t covered = rows[b] - rows[a];
    if (covered < kKineticCoveredMs) continue;
    const auto mean = static_cast<float>(static_cast<double>(charge[b] - charge[a]) / 2 /
                                         static_cast<double>(covered));
    means_.push_back(mean);
    const double power = (after * after - before * before) / 2 / (static_cast<double>(apart) / 1e3);
    if (std::abs(power) >= kKineticLeast) {
      windows_.push_back({end_ms, mean, static_cast<float>(power)});
    }
  }
  if (means_.empty()) return;
  const auto middle = means_.begin() + static_cast<std::ptrdiff_t>(means_.size() / 2);
  std::nth_element(means_.begin(), middle, means_.end());
  const float median = *middle;
  for (const Window& window : windows_) {
    const float draw = window.mean_tenths_a - median;
    if (draw != 0) vote(SignKind::kinetic, window.time_ms, (draw > 0) == (window.power > 0));
  }
}

void SignVotes::observe_soc(const Episode& episode, CurrentCoding coding,
                            const std::vector<std::int64_t>& sum) {
  const auto& soc = episode.soc;
  const auto& speed = episode.speed;
  const auto& odometer = episode.odometer;
  const auto& rows = episode.pack.time_ms;
  // All is told in codes of 100/255 %, so that a van votes alike whatever its
  // step is. A step of several codes is one vote, and no re-anchoring.
  const double step_pct = episode.soc_step_pct;
  const double step_codes = step_pct / kSocPctPerCode;
  const auto whole_codes = static_cast<std::int64_t>(step_codes);
  const std::int64_t vote_codes = std::max(kSocVoteCodes, whole_codes);
  const std::int64_t unseen_codes = std::max(kUnseenCodes, 2 * whole_codes);
  const std::int64_t reanchor_codes = std::max(kReanchorCodes, 2 * whole_codes);
  const auto stuck_charge = static_cast<std::int64_t>(stuck_ah(step_pct) * kChargePerAh);
  const std::uint16_t flip = coding == CurrentCoding::offset_binary ? 0x8000 : 0;
  struct Anchor {
    std::size_t row = 0;
    std::int64_t code = 0;
    bool counted = false;
  };
  Anchor fall, rise, unseen, stuck;
  std::int64_t moving_samples = 0;
  std::int64_t speed_samples = 0;
  Cursor row_cursor, speed_cursor, odometer_cursor;
  bool first = true;
  std::int64_t previous_ms = 0;
  std::int64_t previous_code = 0;
  for (std::size_t i = 0; i < soc.time_ms.size(); ++i) {
    const std::int64_t now_ms = soc.time_ms[i];
    const auto code = std::min<std::int64_t>(std::lround(soc.raw[i] * step_codes), kSocFull);
    const std::size_t row = std::min(row_cursor.seek(rows, now_ms), rows.size() - 1);
    const Anchor here{row, code, false};
    const std::size_t speed_from = speed_cursor.at;
    const std::size_t speed_to = speed_cursor.seek(speed.time_ms, now_ms);
    std::int64_t moving_now = 0;
    for (std::size_t k = speed_from; k < speed_to; ++k) moving_now += speed.raw[k] > 0;
    speed_samples += static_cast<std::int64_t>(speed_to - speed_from);
    moving_samples += moving_now;
    const std::size_t odometer_from = odometer_cursor.at;
    const std::size_t odometer_to = odometer_cursor.seek(odometer.time_ms, now_ms);
    const bool odometer_moved = odometer_to > odometer_from && odometer_from > 0 &&
                                odometer.raw[odometer_to - 1] != odometer.raw[odometer_from - 1];
    const bool moved = moving_now > 0 || odometer_moved;
    const auto restart_fall = [&] {
      fall = here;
      moving_samples = 0;
      speed_samples = 0;
    };
    if (first || now_ms - previous_ms > kSignSocPauseMs ||
        std::abs(code - previous_code) > reanchor_codes) {
      restart_fall();
      rise = unseen = here;
      if (first) stuck = here;
      first = false;
      previous_ms = now_ms;
      previous_code = code;
      continue;
    }
    previous_ms = now_ms;
    previous_code = code;
    const auto charge_since = [&](const Anchor& anchor) { return sum[row] - sum[anchor.row]; };
    const auto mean_since = [&](const Anchor& anchor) {
      const std::int64_t span = rows[row] - rows[anchor.row];
      return span > 0 ? static_cast<double>(charge_since(anchor)) / 2 / static_cast<double>(span)
                      : 0.0;
    };

    if (code <= fall.code - vote_codes) {
      soc_fell_ = true;
      const double mean = mean_since(fall);
      if (moving_samples > 0 && 2 * moving_samples >= speed_samples && mean != 0) {
        vote(SignKind::soc_drive, now_ms, mean > 0);
      }
      restart_fall();
    } else if (code > fall.code) {
      restart_fall();
    }

    if (moved || code < rise.code) rise = here;
    if (moved || code < unseen.code) unseen = here;
    if (code >= rise.code + vote_codes) {
      const double mean = mean_since(rise);
      // So many codes are a vote; what is left over counts towards the next, or
      // a controller that steps in whole per cent (2.55 codes) would lose a fifth.
      const std::int64_t left_over = (code - rise.code) % vote_codes;
      for (std::int64_t votes = (code - rise.code) / vote_codes; votes > 0; --votes) {
        if (std::abs(mean) >= kUnseenTenthsA) vote(SignKind::soc_charge, now_ms, mean < 0);
      }
      rise = here;
      rise.code -= left_over;
    }
    if (code >= unseen.code + unseen_codes) {
      std::size_t small = 0;
      for (std::size_t k = unseen.row; k < row; ++k) {
        small += std::abs(static_cast<std::int16_t>(episode.pack.a_raw[k] ^ flip)) < kUnseenTenthsA;
      }
      if (row > unseen.row) ++(2 * small > row - unseen.row ? unseen_rises_ : seen_rises_);
      unseen = here;
    }

    if (code != stuck.code) {
      stuck = here;
    } else if (!stuck.counted) {
      const std::int64_t charge = charge_since(stuck);
      if (std::abs(charge) >= stuck_charge) {
        stuck.counted = true;
        if (code >= kSocFull) {
          ++(charge > 0 ? stuck_full_positive_ : stuck_full_negative_);
        } else if (code == 0) {
          ++(charge > 0 ? stuck_empty_positive_ : stuck_empty_negative_);
        } else {
          ++(charge > 0 ? stuck_positive_ : stuck_negative_);
        }
      }
    }
  }
}

double SignVotes::resistance_ohm() const {
  if (ohms_.size() < static_cast<std::size_t>(kWalkEnd)) return -1;
  std::vector<float> sorted = ohms_;
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
  std::nth_element(sorted.begin(), middle, sorted.end());
  return static_cast<double>(*middle);
}

std::int64_t SignVotes::stuck(CurrentSign sign) const {
  std::int64_t count = stuck_positive_ + stuck_negative_;
  // A clamped reading cannot move: full counts only while the pack gives, empty
  // only while it takes.
  switch (sign) {
    case CurrentSign::discharge_positive:
      count += stuck_full_positive_ + stuck_empty_negative_;
      break;
    case CurrentSign::discharge_negative:
      count += stuck_full_negative_ + stuck_empty_positive_;
      break;
    case CurrentSign::unknown:
      break;
  }
  return count;
}

}  // namespace packmile
