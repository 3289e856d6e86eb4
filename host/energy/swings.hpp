// Swings of the state of charge: how deep and how often.
//
// Standard  ASTM E1049-85 5.4.4, rainflow counting.
// Input     SoC codes in time order.
// Bounded   255 depths; the open ranges of 8-bit codes cannot nest deeper.
#pragma once
#include <array>
#include <cstdint>
#include <functional>
#include <vector>

#include "energy/van_account.hpp"

namespace packmile {

// Counts ranges between reversals. `count` gets each range as it closes: its
// size and 1 or 0.5.
class Rainflow {
 public:
  using Count = std::function<void(double range, double count)>;
  explicit Rainflow(Count count) : count_(std::move(count)) {}
  // The next reversal; a value between its neighbours must not be given.
  void push(double reversal);
  // What is left counts by halves. The object starts anew.
  void finish();

 private:
  Count count_;
  std::vector<double> open_;
};

// Lets through only turns of two codes or more: a code that chatters is none.
class SocSwings {
 public:
  SocSwings();
  SocSwings(const SocSwings&) = delete;  // the counter refers to this object
  SocSwings& operator=(const SocSwings&) = delete;
  void observe(std::uint32_t code);
  // Depths above 0, ascending. The object starts anew.
  [[nodiscard]] std::vector<SwingCount> finish();

 private:
  static constexpr int kHysteresisCodes = 2;
  std::array<double, 256> counts_{};
  Rainflow rainflow_;
  bool started_ = false;
  int low_ = 0;
  int high_ = 0;
  int turn_ = 0;       // the extreme reached since the last reversal
  int direction_ = 0;  // 1 rising, -1 falling, 0 not known yet
};

}  // namespace packmile
