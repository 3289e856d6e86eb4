// Two's complement or offset binary: how the pack-current word counts.
//
// Input     raw words of one ECU, episode by episode.
// Output    a coding, or that the words do not tell.
// Method    the two codings of one word lie exactly 3276.8 A apart, so a current
//           that a van can carry under one is impossible under the other: each
//           word votes for the coding under which it is possible.
// Rule      at least 60 words over 60 s, at least 3 of them distinct, less than
//           1 % against. 0000, FFFF, 8000 and 7FFF are what an ECU says that has
//           no answer (and 0 A or -0.1 A when it has one): they do not vote.
#pragma once
#include <array>
#include <cstdint>
#include <span>

#include "reading/pack_reading.hpp"

namespace packmile {

// No road vehicle of this class carries more; beyond it a word is junk.
// Common practice, no source.
inline constexpr std::int32_t kPossibleTenthsA = 12'000;

// Tenths of an ampere in the word's own sign.
[[nodiscard]] constexpr std::int32_t twos_tenths_a(std::uint16_t raw) {
  return static_cast<std::int16_t>(raw);
}
[[nodiscard]] constexpr std::int32_t offset_tenths_a(std::uint16_t raw) {
  return static_cast<std::int32_t>(raw) - 32768;
}
[[nodiscard]] constexpr bool possible_tenths_a(std::int32_t tenths_a) {
  return tenths_a >= -kPossibleTenthsA && tenths_a <= kPossibleTenthsA;
}

struct CodingTally {
  std::int64_t twos = 0;
  std::int64_t offset = 0;
  std::int64_t junk = 0;      // impossible under both
  std::int64_t answered = 0;  // all words, the four silent ones too
  std::int64_t first_ms = 0;  // UTC of the first word that voted
  std::int64_t last_ms = 0;   // UTC of the last one
  std::array<std::uint16_t, 3> distinct{};
  std::size_t n_distinct = 0;

  void observe(std::span<const std::int64_t> time_ms, std::span<const std::uint16_t> words);
  void merge(const CodingTally& other);
  // Words enough, of several values and over long enough, to decide by.
  [[nodiscard]] bool enough() const;
  // unknown: not enough words, or too many against.
  [[nodiscard]] CurrentCoding decide() const;
  // The coding of most votes, however few; unknown when there is none.
  [[nodiscard]] CurrentCoding leaning() const;
};

// Over a van's life: an episode that decides for itself against another one
// makes the coding contradictory.
class CodingVotes {
 public:
  void observe(const CodingTally& episode);
  [[nodiscard]] bool contradictory() const { return twos_decided_ && offset_decided_; }
  [[nodiscard]] CurrentCoding decide() const;
  [[nodiscard]] const CodingTally& tally() const { return total_; }

 private:
  CodingTally total_;
  bool twos_decided_ = false;
  bool offset_decided_ = false;
};

}  // namespace packmile
