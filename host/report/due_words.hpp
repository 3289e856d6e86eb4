// What is due on a van, and when its cover ends, as sentences.
//
// Input     the rows of `upkeep`.
// Output    one item for each part at each place, by the rule that comes first; two
//           tyres of one axle are one item, due with the first of them.
// Rule      in order of the earliest day. There is no list of what is overdue: what
//           is past says since when. A rule whose day is not known may come before the
//           one that is told: then that one's day is the latest, and no more.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "ledger/upkeep.hpp"
#include "report/words.hpp"

namespace packmile::report {

struct DueItem {
  std::string van;
  std::string what;  // "front tyres", "vehicle cover"
  PartRule rule = PartRule::distance;
  DueDates due{};                // of whichever rule comes first, of those that are known
  std::optional<double> left{};  // in unit_of(rule); below 0: over
  // Of a tread: where the law's least depth may be reached, not the owner's.
  std::optional<double> legal_mm{};
  std::vector<PartRule> or_by{};      // may come before `rule`: their days overlap
  std::vector<PartRule> not_known{};  // the same: of these no day is known
};

// Not of warranties; in order of their earliest days.
[[nodiscard]] std::vector<DueItem> due_items(const VanUpkeep& upkeep);
// Parts that have a limit, and of which no day is known.
[[nodiscard]] std::vector<std::string> undated_parts(const VanUpkeep& upkeep);
// Of warranties alone: the rule that ends each.
[[nodiscard]] std::vector<DueItem> cover_items(const VanUpkeep& upkeep);
// May it be due within kSoonDays, or kSoonMiles at the van's own use?
// km_per_day: absent: its use is not known.
[[nodiscard]] bool is_soon(const DueItem& item, LocalDay today, std::optional<double> km_per_day);

// "by distance"
[[nodiscard]] std::string_view rule_words(PartRule rule);
// "front tyres of Rowan: between 12 June and 4 July, by distance"
[[nodiscard]] std::string due_sentence(const DueItem& item, const Words& words);
// What of one van's items is due first; open where another may come before its last
// day, and of what is known alone where another's day is not. items: in order, as
// due_items() has them; empty: of none.
[[nodiscard]] std::string first_due_sentence(const std::vector<DueItem>& items,
                                             const std::vector<std::string>& undated,
                                             const Words& words);
// "vehicle cover ends on 1 March, by age"; "ended on .." or "has ended" where it is past.
[[nodiscard]] std::string cover_sentence(const DueItem& item, const Words& words);
// "front left" of fl; "front" of front; empty of none.
[[nodiscard]] std::string place_words(std::string_view position);

}  // namespace packmile::report
