// What the samples of one card tell beyond what they are: the meaning of the
// pack's words, what speaks against owner's signals, and how often each series
// came.
//
// Input     a surveyed card.
// Method    the period of a series is the step between its samples in which half
//           of the time lies, while the van moved, or awake where it moved for
//           less than a minute: a few quick answers count for little. Its share
//           is the part of that time which steps of up to 2.5 periods cover.
// Bounded   one episode; a histogram of 150,001 steps for each series.
#pragma once
#include <array>
#include <cstdint>
#include <vector>

#include "card/card_survey.hpp"
#include "finding.hpp"
#include "reading/pack_reading.hpp"
#include "result.hpp"
#include "timeline/van_history.hpp"

namespace packmile::cli {

enum class HeardSeries : std::uint8_t { pack, soc, odometer, speed, ambient };
inline constexpr std::size_t kHeardSeries = 5;

struct SeriesRate {
  std::uint64_t rows = 0;  // of all the time
  double period_ms = 0;    // 0: fewer than two samples
  double share = 0;        // 0..1
};

struct VanHeard {
  std::vector<PackReading> readings;
  // Of this card alone; of several vans on it one after the other.
  std::vector<Verdict> verdicts;
  std::vector<OwnersJudgement> owners_signals;
  std::vector<Finding> findings;  // about owner's signals
  // Roles that owner's signals have in some boot.
  std::array<bool, kRoles> owners_roles{};
  std::array<SeriesRate, kHeardSeries> rates{};
  bool while_moving = false;  // what the rates were taken from

  [[nodiscard]] const SeriesRate& rate(HeardSeries series) const {
    return rates[static_cast<std::size_t>(series)];
  }
  [[nodiscard]] bool has(HeardSeries series) const { return rate(series).rows > 0; }
  [[nodiscard]] bool owners(SignalRole role) const {
    return owners_roles[static_cast<std::size_t>(role)];
  }
  // Some reading of the pack current is proven.
  [[nodiscard]] bool current_agreed() const;
};

[[nodiscard]] Result<VanHeard> hear_van(const CardFile& card, const CardSurvey& survey);

}  // namespace packmile::cli
