// The charge that flowed up to each row of an episode's pack words, in whole
// numbers and in the word's own sign.
//
// Input     pack rows and the coding that they are read under.
// Output    a running sum for votes, in which long pauses carry nothing, and what
//           a balance needs beside it: steps that were not answered in time.
#pragma once
#include <cstdint>
#include <vector>

#include "reading/pack_reading.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// Twice tenths of an ampere times ms.
inline constexpr double kChargePerAh = 2.0 * 10 * 3'600'000;

class PackCharge {
 public:
  // The arrays keep their capacity from episode to episode.
  void fill(const PackSeries& pack, CurrentCoding coding);

  // Before row i, steps of more than 15 s left out.
  [[nodiscard]] const std::vector<std::int64_t>& sum() const { return sum_; }
  // What flowed one way and the other, each counted positive; steps of more than
  // 15 s included, as a straight line between their ends.
  [[nodiscard]] std::int64_t positive() const { return positive_; }
  [[nodiscard]] std::int64_t negative() const { return negative_; }
  // Of steps that are gaps: their time, and what the straight line puts there.
  [[nodiscard]] std::int64_t gap_ms() const { return gap_ms_; }
  [[nodiscard]] std::int64_t gap_charge() const { return gap_charge_; }

 private:
  std::vector<std::int64_t> sum_;
  std::int64_t positive_ = 0;
  std::int64_t negative_ = 0;
  std::int64_t gap_ms_ = 0;
  std::int64_t gap_charge_ = 0;
};

}  // namespace packmile
