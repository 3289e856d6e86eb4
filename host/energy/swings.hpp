// Swings of the state of charge: how deep and how often.
//
// Standard  ASTM E1049-85 5.4.4, rainflow counting.
// Input     states of charge in time order, in codes of 100/255 %, whole or not.
// Output    depths to the nearest code.
// Bounded   255 depths; each turn counts for a code at least, so that open
//           ranges cannot nest deeper.
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

// Lets through only turns of two codes or more, or of two of the van's own steps
// where those are longer: a code that chatters is none.
class SocSwings {
 public:
  static constexpr double kHysteresisCodes = 2;
  SocSwings();
  SocSwings(const SocSwings&) = delete;  // the counter refers to this object
  SocSwings& operator=(const SocSwings&) = delete;
  // hysteresis_codes: 2 or more.
  void observe(double codes, double hysteresis_codes = kHysteresisCodes);
  // Depths above 0, ascending. The object starts anew.
  [[nodiscard]] std::vector<SwingCount> finish();

 private:
  std::array<double, 256> counts_{};
  Rainflow rainflow_;
  bool started_ = false;
  double low_ = 0;
  double high_ = 0;
  double turn_ = 0;    // the extreme reached since the last reversal
  int direction_ = 0;  // 1 rising, -1 falling, 0 not known yet
};

}  // namespace packmile
