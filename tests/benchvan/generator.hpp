// A small pseudo-random generator with a fixed definition, so that the same
// seed gives the same bytes with every compiler and library.
//
// Method  SplitMix64 (Steele, Lea, Flood 2014), from memory; statistical
//         quality beyond "looks irregular" is not needed here.
#pragma once
#include <cmath>
#include <cstdint>
#include <numbers>

namespace packmile::benchvan {

class Generator {
 public:
  explicit Generator(std::uint64_t seed) : state_(seed) {}

  std::uint64_t next() {
    state_ += 0x9E3779B97F4A7C15u;
    std::uint64_t mixed = state_;
    mixed = (mixed ^ (mixed >> 30)) * 0xBF58476D1CE4E5B9u;
    mixed = (mixed ^ (mixed >> 27)) * 0x94D049BB133111EBu;
    return mixed ^ (mixed >> 31);
  }

  // 0 <= result < 1, 53 bits.
  double share() { return static_cast<double>(next() >> 11) * 0x1.0p-53; }

  // low <= result < high.
  double between(double low, double high) { return low + (high - low) * share(); }

  // Mean 0, sd 1: Box and Muller 1958.
  double normal() {
    const double radius = std::sqrt(-2 * std::log(1 - share()));
    return radius * std::cos(2 * std::numbers::pi * share());
  }

  // 0 <= result < count; count must not be 0. Taking the remainder favours low
  // results by less than count / 2^64.
  std::uint64_t below(std::uint64_t count) { return next() % count; }

 private:
  std::uint64_t state_;
};

}  // namespace packmile::benchvan
