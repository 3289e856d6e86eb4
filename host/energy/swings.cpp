#include "energy/swings.hpp"

#include <algorithm>
#include <cmath>

#include "reading/pack_reading.hpp"

namespace packmile {

void Rainflow::push(double reversal) {
  open_.push_back(reversal);
  while (open_.size() >= 3) {
    const std::size_t n = open_.size();
    const double last = std::abs(open_[n - 1] - open_[n - 2]);
    const double previous = std::abs(open_[n - 2] - open_[n - 3]);
    if (last < previous) return;
    if (n == 3) {
      count_(previous, 0.5);
      open_.erase(open_.begin());
    } else {
      count_(previous, 1);
      open_.erase(open_.end() - 3, open_.end() - 1);
    }
  }
}

void Rainflow::finish() {
  for (std::size_t i = 1; i < open_.size(); ++i) count_(std::abs(open_[i] - open_[i - 1]), 0.5);
  open_.clear();
}

SocSwings::SocSwings()
    : rainflow_([this](double range, double count) {
        counts_[std::min<std::size_t>(static_cast<std::size_t>(std::lround(range)), 255)] += count;
      }) {}

void SocSwings::observe(double codes, double hysteresis_codes) {
  const double now = std::clamp(codes, 0.0, 255.0);
  if (!started_) {
    started_ = true;
    low_ = high_ = now;
    return;
  }
  if (direction_ == 0) {
    low_ = std::min(low_, now);
    high_ = std::max(high_, now);
    if (high_ - low_ < hysteresis_codes) return;
    direction_ = now >= high_ ? 1 : -1;
    rainflow_.push(direction_ > 0 ? low_ : high_);
    turn_ = now;
    return;
  }
  if ((now - turn_) * direction_ >= 0) {
    turn_ = now;
  } else if ((turn_ - now) * direction_ >= hysteresis_codes) {
    rainflow_.push(turn_);
    turn_ = now;
    direction_ = -direction_;
  }
}

std::vector<SwingCount> SocSwings::finish() {
  if (direction_ != 0) rainflow_.push(turn_);
  rainflow_.finish();
  std::vector<SwingCount> swings;
  for (std::size_t codes = 1; codes < counts_.size(); ++codes) {
    if (counts_[codes] > 0) {
      swings.push_back({static_cast<double>(codes) * kSocPctPerCode, counts_[codes]});
    }
  }
  counts_.fill(0);
  started_ = false;
  direction_ = 0;
  return swings;
}

}  // namespace packmile
