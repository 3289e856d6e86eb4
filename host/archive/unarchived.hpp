// What a card holds that the archive does not: what would be lost if the card
// were prepared again.
//
// Counted   good sectors with samples or session records, copies once. Settings
//           sectors are not: they say nothing of a van's past.
// Bounded   as the survey that it starts from.
#pragma once
#include <cstdint>
#include <optional>

#include "archive/archive.hpp"
#include "card/card_survey.hpp"
#include "figure.hpp"
#include "result.hpp"

namespace packmile {

struct Unarchived {
  std::uint64_t good = 0;     // on the card
  std::uint64_t missing = 0;  // of these, in no archive
  // Of these, outside the card's log file: left from an earlier use.
  std::uint64_t missing_elsewhere = 0;
  // First and last instant of those that are missing; absent: none of their
  // boots has a clock.
  std::optional<UtcTime> first, last;
};

// `archive` null: there is none, so everything is missing. `log`: where the log
// file is, when a whole card was surveyed; no sectors: there is none, or nothing
// but the log was.
[[nodiscard]] Result<Unarchived> find_unarchived(const CardFile& card, const CardSurvey& survey,
                                                 const Archive* archive, const LogExtent& log = {});

}  // namespace packmile
