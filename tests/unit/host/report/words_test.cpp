#include "report/words.hpp"

#include <doctest/doctest.h>

using namespace packmile;
using namespace packmile::report;

namespace {

LocalDay word_day(int year, unsigned month, unsigned day) {
  return std::chrono::local_days{std::chrono::year{year} / std::chrono::month{month} /
                                 std::chrono::day{day}};
}

const Words kPounds{true, "GBP", word_day(2026, 2, 4)};

}  // namespace

// No source: thousands are parted, signs and decimals are left alone.
TEST_CASE("report words: thousands are parted") {
  CHECK(grouped("999") == "999");
  CHECK(grouped("1000") == "1,000");
  CHECK(grouped("-1234567.25") == "-1,234,567.25");
  CHECK(grouped("0.12345") == "0.12345");
  CHECK(range_words(figure_of(12345, 0, 120)) == "12,350 (12,110 to 12,580)");
}

// No source: a range is never finer than was asked for, and is left out where both
// ends read the same.
TEST_CASE("report words: a figure is no finer than its like") {
  CHECK(range_words({0.18928, 0.18892, 0.18966, 0}, 1, 3) == "0.189 (0.189 to 0.190)");
  CHECK(range_words({17288.1, 17288.1, 17288.16, 0}, 1, 0) == "17,288");
  CHECK(range_words({0.5146, 0.4980, 0.5312, 0}, 1, 3) == "0.515 (0.498 to 0.531)");
}

// No source: days of this year have no year; an interval says both its ends.
TEST_CASE("report words: when something is due") {
  const LocalDay june = word_day(2026, 6, 12), july = word_day(2026, 7, 4);
  CHECK(kPounds.day(june) == "12 June");
  CHECK(kPounds.day(word_day(2027, 6, 12)) == "12 June 2027");
  CHECK(kPounds.when({june, june, july}) == "between 12 June and 4 July");
  const LocalDay next = word_day(2027, 7, 4), later = word_day(2027, 9, 1);
  CHECK(kPounds.when({next, june, next}) == "between 12 June 2026 and 4 July 2027");
  CHECK(kPounds.when({later, next, later}) == "between 4 July and 1 September 2027");
  CHECK(kPounds.when({june, june, june}) == "on 12 June");
  CHECK(kPounds.when({july, june, std::nullopt}) == "from 12 June on");
  CHECK(kPounds.when({june, word_day(2026, 1, 1), july}) == "between now and 4 July");
  const LocalDay past = word_day(2026, 1, 3);
  CHECK(kPounds.when({past, past, past}) == "since 3 January");
  CHECK(kPounds.when({kPounds.today, kPounds.today, kPounds.today}) == "now");
}

// Source: 1 mile = 1.609344 km (international yard and pound agreement, 1959).
TEST_CASE("report words: the reader's units") {
  Words km = kPounds;
  km.miles = false;
  CHECK(kPounds.distance({160.9344, 160.9344, 160.9344, 0}) == "100 miles");
  CHECK(km.distance({160.9344, 160.9344, 160.9344, 0}) == "161 km");
  CHECK(kPounds.energy_per_distance({0.5, 0.4, 0.6, 0}) == "0.500 (0.400 to 0.600) kWh a mile");
  CHECK(km.energy_per_distance({0.5, 0.5, 0.5, 0}) == "0.311 kWh a km");
  CHECK(kPounds.cost_per_distance({0.431, 0.41, 0.453, 0}) == "£0.431 (0.410 to 0.453)");
  CHECK(kPounds.whole_money({11900, 10100, 13800, 0}) == "£11,900 (10,100 to 13,800)");
  Words other = kPounds;
  other.currency = "CHF";
  CHECK(other.whole_money({900, 900, 900, 0}) == "CHF 900");
  other.currency = "XXX";
  CHECK(other.whole_money({900, 900, 900, 0}) == "900");
}

// No source.
TEST_CASE("report words: lists, counts, months and sentences") {
  CHECK(listed({}).empty());
  CHECK(listed({"a"}) == "a");
  CHECK(listed({"a", "b", "c"}) == "a, b and c");
  CHECK(counted(1, "day", "days") == "1 day");
  CHECK(counted(1200, "day", "days") == "1,200 days");
  CHECK(month_words("2026-03") == "March 2026");
  CHECK(month_words("nonsense") == "nonsense");
  CHECK(sentence("due on 3 March") == "Due on 3 March.");
  CHECK(sentence("why?") == "Why?");
}

// No source: intervals that touch are not apart.
TEST_CASE("report words: intervals are apart only without anything in common") {
  CHECK(apart({1, 0.5, 1.5, 0}, {2, 1.6, 2.4, 0}));
  CHECK_FALSE(apart({1, 0.5, 1.6, 0}, {2, 1.6, 2.4, 0}));
}
