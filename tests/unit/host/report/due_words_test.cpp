#include "report/due_words.hpp"

#include <doctest/doctest.h>

using namespace packmile;
using namespace packmile::report;

namespace {

LocalDay due_day(int year, unsigned month, unsigned day) {
  return std::chrono::local_days{std::chrono::year{year} / std::chrono::month{month} /
                                 std::chrono::day{day}};
}

const LocalDay kDueToday = due_day(2026, 2, 4);
const Words kDueWords{true, "GBP", kDueToday};

UpkeepRow due_row(std::string part, std::string position, PartRule rule, DueDates due,
                  bool decides = true) {
  UpkeepRow row;
  row.part = std::move(part);
  row.position = std::move(position);
  row.state.rule = rule;
  row.state.due = due;
  if (decides) row.decided_by = rule;
  return row;
}

VanUpkeep due_van(std::vector<UpkeepRow> rows) {
  VanUpkeep van;
  van.names.van = "Rowan";
  van.today = kDueToday;
  van.rows = std::move(rows);
  return van;
}

}  // namespace

// No source: two tyres of an axle are due with the first of them, whichever rule row
// comes first; a rule that does not decide is not told.
TEST_CASE("due words: the tyres of an axle are one item") {
  const DueDates left{due_day(2026, 6, 20), due_day(2026, 6, 12), due_day(2026, 7, 4)};
  const DueDates right{due_day(2026, 6, 25), due_day(2026, 6, 10), due_day(2026, 8, 1)};
  const auto items = due_items(due_van({due_row("tyre", "fl", PartRule::measured, left),
                                        due_row("tyre", "fr", PartRule::measured, right),
                                        due_row("tyre", "rl", PartRule::age, right),
                                        due_row("gear oil", "", PartRule::age, left, false)}));
  REQUIRE(items.size() == 2);
  CHECK(due_sentence(items[0], kDueWords) ==
        "front tyres of Rowan: between 10 June and 4 July, by what was measured");
  CHECK(items[1].what == "rear left tyre");
}

// No source: a warranty is cover, and no part.
TEST_CASE("due words: cover is told apart from parts") {
  const DueDates day{due_day(2026, 3, 1), due_day(2026, 3, 1), due_day(2026, 3, 1)};
  const DueDates past{due_day(2026, 1, 2), due_day(2026, 1, 2), due_day(2026, 1, 2)};
  const auto van = due_van({due_row("warranty: vehicle", "", PartRule::age, day),
                            due_row("warranty: pack", "", PartRule::age, past)});
  CHECK(due_items(van).empty());
  const auto covers = cover_items(van);
  REQUIRE(covers.size() == 2);
  CHECK(cover_sentence(covers[0], kDueWords) == "pack cover ended on 2 January, by age");
  CHECK(cover_sentence(covers[1], kDueWords) == "vehicle cover ends on 1 March, by age");
}

// No source: what is past says since when, or by how much, in the order of its day.
TEST_CASE("due words: what is past is no list of its own") {
  UpkeepRow oil = due_row("gear oil", "", PartRule::distance, {kDueToday, kDueToday, kDueToday});
  oil.state.remaining = MaybeFigure::known({-160.9344, -161, -160, 0});
  const auto items = due_items(due_van({oil}));
  REQUIRE(items.size() == 1);
  CHECK(due_sentence(items[0], kDueWords) ==
        "gear oil of Rowan: now, by distance (100 miles over)");
}

// No source: the law's depth counts from its earliest day, and only when that is near.
TEST_CASE("due words: a tread near the law's depth is to be measured") {
  UpkeepRow near = due_row("tyre", "fl", PartRule::measured,
                           {due_day(2026, 9, 1), due_day(2026, 8, 1), due_day(2026, 10, 1)});
  near.legal_limit_mm = 1.6;
  near.legal_due = {due_day(2026, 5, 1), due_day(2026, 2, 20), due_day(2026, 9, 1)};
  UpkeepRow far = near;
  far.position = "rl";
  far.legal_due->earliest = due_day(2026, 4, 20);
  const auto items = due_items(due_van({near, far}));
  REQUIRE(items.size() == 3);
  CHECK(due_sentence(items[0], kDueWords) ==
        "front left tyre of Rowan: may be down to the law's 1.6 mm from 20 February on; measure "
        "it");
  CHECK(is_soon(items[0], kDueToday, std::nullopt));
  CHECK_FALSE(is_soon(items[1], kDueToday, std::nullopt));
}

// Source: the page's own rule, 30 days or 1,000 miles (1,609.344 km).
TEST_CASE("due words: soon is by days or by the van's own use") {
  DueItem item;
  item.due = {kDueToday + std::chrono::days{31}, kDueToday + std::chrono::days{31}, std::nullopt};
  item.rule = PartRule::age;
  CHECK_FALSE(is_soon(item, kDueToday, std::nullopt));
  CHECK(is_soon(item, kDueToday, 1609.344 / 31));
  CHECK_FALSE(is_soon(item, kDueToday, 1609.344 / 30));
  item.due.earliest = kDueToday + std::chrono::days{30};
  CHECK(is_soon(item, kDueToday, std::nullopt));
  item.due.earliest = kDueToday + std::chrono::days{400};
  item.rule = PartRule::distance;
  item.left = 1609;
  CHECK(is_soon(item, kDueToday, std::nullopt));
  item.left = 1610;
  CHECK_FALSE(is_soon(item, kDueToday, std::nullopt));
}

// No source: what is first is said only where no other part may come before it.
TEST_CASE("due words: which part is first may be open") {
  const DueDates march{due_day(2026, 3, 10), due_day(2026, 3, 1), due_day(2026, 3, 20)};
  const DueDates april{due_day(2026, 4, 10), due_day(2026, 4, 1), due_day(2026, 4, 20)};
  const DueDates wide{due_day(2026, 6, 10), due_day(2026, 3, 15), std::nullopt};
  const auto told = [&](const DueDates& second) {
    return first_due_sentence(
        due_items(due_van({due_row("brake fluid", "", PartRule::age, second),
                           due_row("cabin filter", "", PartRule::distance, march)})),
        {}, kDueWords);
  };
  CHECK(told(april) == "Due first: cabin filter (between 1 March and 20 March, by distance).");
  CHECK(told(wide) ==
        "What is due first is open: cabin filter (between 1 March and 20 March, by distance), or "
        "brake fluid (from 15 March on).");
  CHECK(first_due_sentence({}, {}, kDueWords).empty());
}

// No source: a rule whose day is not known may end a part before the rule that is known.
// The page said "on 26 November, by age" of a filter that its distance ended in July.
TEST_CASE("due words: a rule of which no day is known may come first") {
  const DueDates may{due_day(2026, 5, 15), due_day(2026, 5, 15), due_day(2026, 5, 15)};
  const DueDates november{due_day(2026, 11, 26), due_day(2026, 11, 26), due_day(2026, 11, 26)};
  const DueDates past{due_day(2026, 1, 10), due_day(2026, 1, 10), due_day(2026, 1, 10)};
  UpkeepRow distance;
  distance.part = "cabin filter";
  distance.state.rule = PartRule::distance;
  distance.state.limit = 24140;
  distance.decided_by = PartRule::age;
  distance.perhaps = "distance may come first, it is not known: no odometer reading";
  const auto filter = [&](const DueDates& by_age) {
    UpkeepRow age = due_row("cabin filter", "", PartRule::age, by_age);
    age.perhaps = distance.perhaps;
    return age;
  };
  const VanUpkeep van =
      due_van({due_row("brake fluid", "", PartRule::age, may), distance, filter(november)});
  const auto items = due_items(van);
  REQUIRE(items.size() == 2);
  CHECK(due_sentence(items[1], kDueWords) ==
        "cabin filter of Rowan: on 26 November at the latest, by age; by distance it is not known");
  CHECK(first_due_sentence(items, undated_parts(van), kDueWords) ==
        "Due first of what is known: brake fluid (on 15 May, by age); not known of cabin filter.");
  // Where what is first is open, the same.
  const DueDates wide{due_day(2026, 4, 10), due_day(2026, 4, 1), due_day(2026, 6, 20)};
  const VanUpkeep open =
      due_van({due_row("brake fluid", "", PartRule::age, may),
               due_row("gear oil", "", PartRule::distance, wide), distance, filter(november)});
  CHECK(first_due_sentence(due_items(open), {"rear tyres"}, kDueWords) ==
        "What is due first is open: gear oil (between 1 April and 20 June, by distance), or brake "
        "fluid (on 15 May); not known of rear tyres and cabin filter.");
  // What is over is due, whatever else may be.
  const auto over = due_items(due_van({distance, filter(past)}));
  CHECK(due_sentence(over[0], kDueWords) == "cabin filter of Rowan: since 10 January, by age");
  CHECK(first_due_sentence(over, {"gear oil"}, kDueWords) ==
        "Due first: cabin filter (since 10 January, by age).");
}

// No source: the earliest of two rules ends a part, so the last day is that of the first.
TEST_CASE("due words: two rules whose days overlap are both told") {
  const DueDates wide{due_day(2026, 6, 1), due_day(2026, 4, 1), due_day(2026, 9, 1)};
  const DueDates july{due_day(2026, 7, 1), due_day(2026, 7, 1), due_day(2026, 7, 1)};
  UpkeepRow distance = due_row("cabin filter", "", PartRule::distance, wide);
  UpkeepRow age = due_row("cabin filter", "", PartRule::age, july, false);
  distance.state.limit = 24140;
  age.state.limit = 1;
  age.decided_by = PartRule::distance;
  distance.perhaps = age.perhaps = "age may come first";
  const auto items = due_items(due_van({distance, age}));
  REQUIRE(items.size() == 1);
  CHECK(due_sentence(items[0], kDueWords) ==
        "cabin filter of Rowan: between 1 April and 1 July, by distance or by age");
}

// No source: a part with a limit and no day at all is named, the two tyres of an axle once.
TEST_CASE("due words: parts of which no day is known") {
  UpkeepRow left;
  left.part = "tyre";
  left.position = "fl";
  left.state.rule = PartRule::measured;
  left.state.limit = 3;
  UpkeepRow right = left, far = left, none = left;
  right.position = "fr";
  far.position = "rl";
  far.state.never = true;
  none.position = "rr";
  none.state.limit.reset();
  const std::vector<std::string> names{"front tyres"};
  CHECK(undated_parts(due_van({left, right, far, none})) == names);
}
