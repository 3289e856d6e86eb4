// Which sign of the pack current is discharge: four kinds of evidence, each a
// random walk to +-9.
//
// Input     episodes, and the coding under which their words are read.
// Output    tallies; positive = "a positive word is discharge".
// Method    sag: pairs at least 2 s apart whose current differs by 20 A or more;
//           the voltage must fall when discharge rises (internal resistance is
//           positive). Nearer pairs mislead where an ECU filters voltage later
//           than current.
//           kinetic: over 2 s, where |a*v| is 5 m^2/s^3 or more, accelerating
//           draws more than the median current of the drive.
//           soc_drive, soc_charge: the sign of the mean current while the state
//           of charge falls (moving) or rises (standing) by two codes of
//           100/255 %, one step at least.
// Walk      Wald's sequential test with equal errors, started anew every 30
//           days; a walk that ends on the other side later is a flip.
// Bounded   one walk per kind and 30 days, 4096 resistance samples.
#pragma once
#include <array>
#include <cstdint>
#include <map>
#include <vector>

#include "reading/pack_charge.hpp"
#include "reading/pack_reading.hpp"
#include "timeline/episode.hpp"

namespace packmile {

enum class SignKind : std::uint8_t { sag, kinetic, soc_drive, soc_charge };
inline constexpr std::size_t kSignKinds = 4;

// With votes right 8 times in 10 a walk to 9 ends on the wrong side once in
// 260,000, after 15 votes on average.
inline constexpr int kWalkEnd = 9;

// Gambler's ruin: chance that a walk of votes that are right with probability
// `right` (0.5..1) ends at -k, and its mean length.
[[nodiscard]] double walk_wrong(double right, int k);
[[nodiscard]] double walk_mean_votes(double right, int k);

class VoteWalk {
 public:
  void vote(std::int64_t time_ms, bool positive);
  [[nodiscard]] std::int64_t positive() const { return positive_; }
  [[nodiscard]] std::int64_t negative() const { return negative_; }
  [[nodiscard]] bool reached_positive() const { return reached_positive_; }
  [[nodiscard]] bool reached_negative() const { return reached_negative_; }
  // At least three votes, two thirds of them for the other sign.
  [[nodiscard]] bool speaks_against(CurrentSign sign) const;

 private:
  struct Walk {
    int sum = 0;
    bool ended = false;
  };
  std::map<std::int64_t, Walk> walks_;  // by 30 days
  std::int64_t last_span_ = 0;
  bool last_span_ended_ = false;  // spares the look-up once a walk is over
  std::int64_t positive_ = 0;
  std::int64_t negative_ = 0;
  bool reached_positive_ = false;
  bool reached_negative_ = false;
};

class SignVotes {
 public:
  SignVotes();
  // Words are read under `coding`; unknown: only sag, which needs none.
  // charge: of the same episode under the same coding.
  void observe(const Episode& episode, CurrentCoding coding, const PackCharge& charge);

  [[nodiscard]] const VoteWalk& kind(SignKind kind) const {
    return walks_[static_cast<std::size_t>(kind)];
  }
  // Ohm, median of |dV/dI| over sag pairs; negative: fewer than nine pairs.
  [[nodiscard]] double resistance_ohm() const;
  // Stretches in which 3 Ah or more flowed one way and an answered state of
  // charge stood still, by the sign of the word.
  [[nodiscard]] std::int64_t stuck(CurrentSign sign) const;
  // Rises of four codes at rest during which no current was seen, and those
  // during which it was.
  [[nodiscard]] std::int64_t unseen_rises() const { return unseen_rises_; }
  [[nodiscard]] std::int64_t seen_rises() const { return seen_rises_; }
  [[nodiscard]] bool soc_fell() const { return soc_fell_; }

 private:
  void vote(SignKind kind, std::int64_t time_ms, bool positive) {
    walks_[static_cast<std::size_t>(kind)].vote(time_ms, positive);
  }
  void observe_sag(const PackSeries& pack);
  void observe_kinetic(const Episode& episode, const std::vector<std::int64_t>& charge);
  void observe_soc(const Episode& episode, CurrentCoding coding,
                   const std::vector<std::int64_t>& sum);

  std::array<VoteWalk, kSignKinds> walks_;
  std::vector<float> ohms_;
  std::int64_t stuck_positive_ = 0;
  std::int64_t stuck_negative_ = 0;
  std::int64_t stuck_full_positive_ = 0;  // at code 255, which cannot rise
  std::int64_t stuck_full_negative_ = 0;
  std::int64_t stuck_empty_positive_ = 0;  // at code 0, which cannot fall
  std::int64_t stuck_empty_negative_ = 0;
  std::int64_t unseen_rises_ = 0;
  std::int64_t seen_rises_ = 0;
  bool soc_fell_ = false;
  // Scratch, kept so that an episode costs no allocation.
  struct Window {
    std::int64_t time_ms;
    float mean_tenths_a;
    float power;  // a*v, m^2/s^3
  };
  std::vector<Window> windows_;
  std::vector<float> means_;
};

}  // namespace packmile
