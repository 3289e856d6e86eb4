#include "report/due_words.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "notes/positions.hpp"
#include "report/evidence.hpp"
#include "report/number_text.hpp"

namespace packmile::report {
namespace {

constexpr std::string_view kWarrantyBegin = "warranty: ";

bool is_warranty(const UpkeepRow& row) { return row.part.starts_with(kWarrantyBegin); }

// "tyre" of two wheels.
std::string plural(const std::string& part) { return part.ends_with('s') ? part : part + "s"; }

std::string what_of(const UpkeepRow& row) {
  const std::string place = place_words(row.position);
  return place.empty() ? row.part : place + " " + row.part;
}

// The first of two decides: none can be later than both.
DueDates first_of(const DueDates& a, const DueDates& b) {
  DueDates out{std::min(a.likely, b.likely), std::min(a.earliest, b.earliest), a.latest};
  if (b.latest && (!out.latest || *b.latest < *out.latest)) out.latest = b.latest;
  return out;
}

void add_rules(std::vector<PartRule>& rules, const std::vector<PartRule>& more) {
  for (const PartRule rule : more)
    if (std::ranges::find(rules, rule) == rules.end()) rules.push_back(rule);
}

DueItem item_of(const VanUpkeep& upkeep, const UpkeepRow& row) {
  DueItem item{
      .van = upkeep.names.van, .what = what_of(row), .rule = row.state.rule, .due = *row.state.due};
  if (row.state.remaining.figure) item.left = row.state.remaining.figure->value;
  // Empty where nothing else may come first.
  if (row.perhaps.empty()) return item;
  for (const UpkeepRow& other : upkeep.rows) {
    const RuleState& state = other.state;
    if (&other == &row || other.part != row.part || other.position != row.position ||
        !state.limit || state.never)
      continue;
    if (!state.due) {
      item.not_known.push_back(state.rule);
    } else if (!row.state.due->latest || state.due->earliest < *row.state.due->latest) {
      item.or_by.push_back(state.rule);
      item.due = first_of(item.due, *state.due);
    }
  }
  return item;
}

// Due by any rule; what is not known cannot make it later.
bool is_over(const DueItem& item, const Words& words) {
  return item.due.latest && *item.due.latest <= words.today;
}

std::string when_words(const DueItem& item, const Words& words) {
  // What has a range says nothing of another rule's day as it is.
  if (item.not_known.empty() || is_over(item, words) || item.due.latest != item.due.earliest)
    return words.when(item.due);
  return fmt::format("on {} at the latest", words.day(*item.due.latest));
}

std::string rules_words(const DueItem& item, const Words& words) {
  std::string out{rule_words(item.rule)};
  for (const PartRule rule : item.or_by) out += fmt::format(" or {}", rule_words(rule));
  if (item.not_known.empty() || is_over(item, words)) return out;
  std::vector<std::string> rules;
  for (const PartRule rule : item.not_known) rules.emplace_back(rule_words(rule));
  return out + fmt::format("; {} it is not known", listed(rules));
}

void sort_by_day(std::vector<DueItem>& items) {
  std::ranges::stable_sort(items, {}, [](const DueItem& item) {
    return std::pair{item.due.earliest, item.due.likely};
  });
}

}  // namespace

std::string place_words(std::string_view position) {
  if (const auto wheel = wheel_named(position)) return std::string{name_of(*wheel)};
  return std::string{position};
}

std::string first_due_sentence(const std::vector<DueItem>& items,
                               const std::vector<std::string>& undated, const Words& words) {
  if (items.empty()) return {};
  const DueItem& first = items.front();
  // Whatever may be due before the last day of it.
  struct Rival {
    const DueItem* item;
    std::string text;
  };
  std::vector<Rival> rivals;
  for (const DueItem& item : items)
    if (&item != &first && (!first.due.latest || item.due.earliest <= *first.due.latest))
      rivals.push_back({&item, fmt::format("{} ({})", item.what, when_words(item, words))});
  const std::string said =
      fmt::format("{} ({}, {})", first.what, when_words(first, words), rules_words(first, words));
  // What is over is due, whatever else may be.
  std::vector<std::string> unsure;
  if (!is_over(first, words)) {
    unsure = undated;
    for (const DueItem& item : items)
      if (&item != &first && !item.not_known.empty() &&
          std::ranges::find(rivals, &item, &Rival::item) == rivals.end())
        unsure.push_back(item.what);
  }
  const std::string but =
      unsure.empty() ? std::string{} : fmt::format("; not known of {}", listed(unsure));
  if (rivals.empty())
    return sentence(
        fmt::format("due first{}: {}{}", unsure.empty() ? "" : " of what is known", said, but));
  std::vector<std::string> told;
  for (const Rival& rival : rivals) told.push_back(rival.text);
  return sentence(
      fmt::format("what is due first is open: {}, or {}{}", said, fmt::join(told, ", or "), but));
}

std::string_view rule_words(PartRule rule) {
  switch (rule) {
    case PartRule::distance:
      return "by distance";
    case PartRule::age:
      return "by age";
    case PartRule::hours:
      return "by hours of use";
    case PartRule::starts:
      return "by starts";
    case PartRule::energy:
      return "by energy";
    case PartRule::measured:
      return "by what was measured";
  }
  return {};
}

std::vector<DueItem> due_items(const VanUpkeep& upkeep) {
  std::vector<DueItem> out;
  // An axle's wheel that is waiting for the other one.
  struct Pending {
    const UpkeepRow* row;
    std::size_t at;
  };
  std::vector<Pending> wheels;
  for (const UpkeepRow& row : upkeep.rows) {
    if (is_warranty(row)) continue;
    if (row.legal_due) {
      DueItem legal{.van = upkeep.names.van,
                    .what = what_of(row),
                    .rule = row.state.rule,
                    .due = *row.legal_due,
                    .legal_mm = row.legal_limit_mm};
      out.push_back(std::move(legal));
    }
    if (!row.state.due || row.decided_by != row.state.rule) continue;
    DueItem item = item_of(upkeep, row);
    if (const auto wheel = wheel_named(row.position)) {
      const auto twin = std::ranges::find_if(wheels, [&](const Pending& other) {
        return other.row->part == row.part && other.row->state.rule == row.state.rule &&
               axle_of(*wheel_named(other.row->position)) == axle_of(*wheel);
      });
      if (twin != wheels.end()) {
        DueItem& both = out[twin->at];
        both.what = fmt::format("{} {}", word_of(axle_of(*wheel)), plural(row.part));
        both.due = first_of(both.due, item.due);
        if (item.left && both.left) both.left = std::min(*item.left, *both.left);
        add_rules(both.or_by, item.or_by);
        add_rules(both.not_known, item.not_known);
        continue;
      }
      wheels.push_back({&row, out.size()});
    }
    out.push_back(std::move(item));
  }
  // The law's depth is told where it may come before what the owner plans.
  std::erase_if(out, [&](const DueItem& item) {
    return item.legal_mm && item.due.earliest > upkeep.today + kSoonDays;
  });
  sort_by_day(out);
  return out;
}

std::vector<std::string> undated_parts(const VanUpkeep& upkeep) {
  std::vector<std::string> out;
  for (const UpkeepRow& row : upkeep.rows) {
    if (is_warranty(row) || row.decided_by || !row.state.limit || row.state.never) continue;
    const auto wheel = wheel_named(row.position);
    std::string what =
        wheel ? fmt::format("{} {}", word_of(axle_of(*wheel)), plural(row.part)) : what_of(row);
    if (std::ranges::find(out, what) == out.end()) out.push_back(std::move(what));
  }
  return out;
}

std::vector<DueItem> cover_items(const VanUpkeep& upkeep) {
  std::vector<DueItem> out;
  for (const UpkeepRow& row : upkeep.rows) {
    if (!is_warranty(row) || !row.state.due || row.decided_by != row.state.rule) continue;
    DueItem item = item_of(upkeep, row);
    item.what = row.part.substr(kWarrantyBegin.size()) + " cover";
    out.push_back(std::move(item));
  }
  sort_by_day(out);
  return out;
}

bool is_soon(const DueItem& item, LocalDay today, std::optional<double> km_per_day) {
  const LocalDay at = item.due.earliest;
  if (at <= today + kSoonDays) return true;
  if (item.rule == PartRule::distance && item.left && *item.left <= kSoonMiles * kKmPerMile)
    return true;
  return km_per_day &&
         static_cast<double>((at - today).count()) * *km_per_day <= kSoonMiles * kKmPerMile;
}

std::string due_sentence(const DueItem& item, const Words& words) {
  if (item.legal_mm)
    return fmt::format("{} of {}: may be down to the law's {:.1f} mm from {} on; measure it",
                       item.what, item.van, *item.legal_mm,
                       item.due.earliest <= words.today ? "now" : words.day(item.due.earliest));
  std::string out = fmt::format("{} of {}: {}, {}", item.what, item.van, when_words(item, words),
                                rules_words(item, words));
  if (item.rule == PartRule::distance && item.left && *item.left < 0)
    out += fmt::format(" ({} {} over)", grouped(number_text(-*item.left * words.of_km(), 0)),
                       words.distance_unit());
  return out;
}

std::string cover_sentence(const DueItem& item, const Words& words) {
  if (item.due.latest && *item.due.latest <= words.today) {
    if (item.rule == PartRule::age && item.due.likely < words.today)
      return fmt::format("{} ended on {}, by age", item.what, words.day(item.due.likely));
    return fmt::format("{} has ended, {}", item.what, rule_words(item.rule));
  }
  return fmt::format("{} ends {}, {}", item.what, when_words(item, words),
                     rules_words(item, words));
}

}  // namespace packmile::report
