#include "notes/van_notes.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <chrono>
#include <random>

#include "notes/note_kinds.hpp"

using namespace packmile;
using namespace std::chrono_literals;

namespace {

constexpr UtcTime kDay{std::chrono::sys_days{std::chrono::year{2026} / 3 / 2}};

Note note(std::uint32_t id, NoteKind kind, NoteTime when, std::array<NoteValue, 3> values) {
  Note out;
  out.id = id;
  out.van = "Linden";
  out.when = when;
  out.kind = kind;
  out.values = std::move(values);
  return out;
}

}  // namespace

TEST_CASE("van notes: what holds of one van, in order of time, each kind for itself") {
  const NoteTime day{kDay, kDay + 24h};
  const NoteTime evening{kDay + 18h, kDay + 18h};
  std::vector<Note> notes{
      note(1, NoteKind::odometer, {kDay + 48h, kDay + 48h}, {NoteValue{"24850mi", 39992.2, 1.609}}),
      note(2, NoteKind::odometer, day, {NoteValue{"39000", 39000, 1}}),
      note(3, NoteKind::odometer, day, {NoteValue{"39010", 39010, 1}}),
      note(4, NoteKind::receipt, evening,
           {NoteValue{"21.3", 21.3, 0.1}, NoteValue{"9.37", 9.37, 0.01},
            NoteValue{"Corn Exchange", 0, 0}}),
      note(5, NoteKind::meter, evening,
           {NoteValue{"100", 100, 1}, NoteValue{"119.75", 119.75, 0.01}}),
      note(6, NoteKind::withdrawn, day, {}),
      note(7, NoteKind::odometer, day, {NoteValue{"5", 5, 1}})};
  notes[1].replaced_by = 3;
  notes[2].replaces = 2;
  notes[6].van = "Cedar";

  const VanNotes of = van_notes_of(notes, "Linden");
  REQUIRE(of.odometer.size() == 2);
  CHECK(of.odometer[0].id == 3);
  CHECK(of.odometer[0].when == day);
  CHECK(of.odometer[0].km == 39010);
  CHECK(of.odometer[1].id == 1);
  CHECK(of.odometer[1].step_km == doctest::Approx(1.609));
  REQUIRE(of.receipts.size() == 1);
  CHECK(of.receipts[0].kwh == 21.3);
  CHECK(of.receipts[0].step_kwh == 0.1);
  CHECK(of.receipts[0].sum_paid == 9.37);
  CHECK(of.receipts[0].place == "Corn Exchange");
  REQUIRE(of.meter.size() == 1);
  CHECK(of.meter[0].kwh() == doctest::Approx(19.75));
  // The coarser of the two: a counter that is written down with a decimal more
  // the second time was cut down the first.
  CHECK(of.meter[0].step_kwh == 1);
  CHECK(van_notes_of(notes, "Cedar").odometer.size() == 1);
  CHECK(van_notes_of(notes, "").odometer.empty());
}

TEST_CASE("van notes: what was measured, done and priced, with what may be left out") {
  const NoteTime day{kDay, kDay + 24h};
  const auto word = [](const char* text) { return NoteValue{text, 0, 0}; };
  const std::vector<Note> notes{
      note(1, NoteKind::tread, day, {word("fl"), NoteValue{"5.1", 5.1, 0.1}}),
      note(2, NoteKind::tread, day, {word("rr"), NoteValue{"6", 6, 1}, NoteValue{"0.5", 0.5, 0.1}}),
      note(3, NoteKind::pad, day, {word("rear"), NoteValue{"7.5", 7.5, 0.1}}),
      note(4, NoteKind::job, day, {word("tyre"), NoteValue{"420", 420, 1}}),
      note(5, NoteKind::job, day, {word("wiper"), NoteValue{"18", 18, 1}, NoteValue{"0", 0, 1}}),
      note(6, NoteKind::fluid, day, {word("brake fluid")}),
      note(7, NoteKind::tyre_moved, day, {word("fl"), word("rl")}),
      note(8, NoteKind::off_road, day, {NoteValue{"2.5", 2.5, 0.1}}),
      note(9, NoteKind::off_road, {kDay, kDay}, {NoteValue{"1", 1, 1}, NoteValue{"90", 90, 1}}),
      note(10, NoteKind::valuation, day, {NoteValue{"9500", 9500, 1}}),
      note(11, NoteKind::sold, day, {NoteValue{"9000", 9000, 1}}),
      note(12, NoteKind::tread, day, {word("middle"), NoteValue{"6", 6, 1}})};
  const VanNotes of = van_notes_of(notes, "Linden");
  REQUIRE(of.treads.size() == 2);
  CHECK(of.treads[0].wheel == Wheel::front_left);
  CHECK(of.treads[0].depth_mm == 5.1);
  CHECK(of.treads[0].step_mm == 0.1);
  CHECK(of.treads[0].gauge_error_mm == kUsualGaugeErrorMm);
  CHECK(of.treads[1].wheel == Wheel::rear_right);
  CHECK(of.treads[1].gauge_error_mm == 0.5);
  REQUIRE(of.pads.size() == 1);
  CHECK(of.pads[0].axle == Axle::rear);
  CHECK(of.pads[0].thickness_mm == 7.5);
  REQUIRE(of.jobs.size() == 2);
  CHECK(of.jobs[0].part == "tyre");
  CHECK(of.jobs[0].sum == 420);
  CHECK_FALSE(of.jobs[0].hours);
  // None is another thing than no word about it.
  CHECK(of.jobs[1].hours == 0);
  REQUIRE(of.fluids.size() == 1);
  CHECK(of.fluids[0].name == "brake fluid");
  REQUIRE(of.tyres_moved.size() == 1);
  CHECK(of.tyres_moved[0].from == Wheel::front_left);
  CHECK(of.tyres_moved[0].to == Wheel::rear_left);
  REQUIRE(of.off_road.size() == 2);
  CHECK(of.off_road[0].sum == 90);
  CHECK(of.off_road[1].days == 2.5);
  CHECK_FALSE(of.off_road[1].sum);
  REQUIRE(of.valuations.size() == 1);
  CHECK(of.valuations[0].sum == 9500);
  REQUIRE(of.sold.size() == 1);
  CHECK(of.sold[0].sum == 9000);
}

namespace {

// Every list as lines; without ids sorted, because the order of what is noted for
// one time is that of the ids.
std::string told(const VanNotes& of, bool ids) {
  std::vector<std::string> lines;
  const auto add = [&](const auto& notes, const char* list, auto&& values) {
    for (const auto& one : notes)
      lines.push_back(list + std::to_string(one.when.from.time_since_epoch().count()) + " " +
                      std::to_string(one.when.to.time_since_epoch().count()) + " " + values(one) +
                      (ids ? " id " + std::to_string(one.id) : ""));
  };
  using std::to_string;
  const auto maybe = [](const std::optional<double>& value) {
    return value ? std::to_string(*value) : std::string{"-"};
  };
  add(of.odometer, "odometer ", [](const auto& n) { return to_string(n.km + n.step_km); });
  add(of.meter, "meter ",
      [](const auto& n) { return to_string(n.before_kwh) + to_string(n.kwh()); });
  add(of.receipts, "receipt ", [](const auto& n) { return to_string(n.kwh) + n.place; });
  add(of.treads, "tread ", [](const auto& n) {
    return std::string{word_of(n.wheel)} + to_string(n.depth_mm) + to_string(n.gauge_error_mm);
  });
  add(of.pads, "pad ",
      [](const auto& n) { return std::string{word_of(n.axle)} + to_string(n.thickness_mm); });
  add(of.jobs, "job ", [&](const auto& n) { return n.part + to_string(n.sum) + maybe(n.hours); });
  add(of.fluids, "fluid ", [](const auto& n) { return n.name; });
  add(of.tyres_moved, "moved ",
      [](const auto& n) { return std::string{word_of(n.from)} + std::string{word_of(n.to)}; });
  add(of.off_road, "off_road ", [&](const auto& n) { return to_string(n.days) + maybe(n.sum); });
  add(of.valuations, "valuation ", [](const auto& n) { return to_string(n.sum); });
  add(of.sold, "sold ", [](const auto& n) { return to_string(n.sum); });
  if (!ids) std::ranges::sort(lines);
  std::string out;
  for (const std::string& line : lines) out += line + "\n";
  return out;
}

// Any note that could be typed.
Note drawn(std::mt19937& random, std::uint32_t id) {
  const auto below = [&](int n) { return static_cast<int>(random() % static_cast<unsigned>(n)); };
  Note out;
  out.id = id;
  out.van = below(4) == 0 ? "Cedar" : "Linden";
  out.kind =
      note_kinds()[static_cast<std::size_t>(below(static_cast<int>(note_kinds().size())))].kind;
  out.when.from = kDay + std::chrono::hours{12 * below(20)};
  out.when.to = out.when.from + std::chrono::hours{below(2) * 24};
  const NoteKindRule& rule = rule_of(out.kind);
  for (std::size_t k = 0; k < rule.values.size(); ++k) {
    const NoteValueRule& value = rule.values[k];
    if (value.optional && below(2) == 0) continue;
    const std::string word = value.unit != NoteUnit::text ? std::to_string(1 + below(5))
                             : value.words.empty()
                                 ? "word" + std::to_string(below(3))
                                 : std::string{value.words[static_cast<std::size_t>(
                                       below(static_cast<int>(value.words.size())))]};
    auto read = read_note_value(value, word);
    REQUIRE(std::holds_alternative<NoteValue>(read));
    out.values[k] = std::get<NoteValue>(read);
  }
  if (below(8) == 0) out.replaced_by = id + 1;
  return out;
}

}  // namespace

// Property: whoever types first, and however lines are sorted, the lists say the
// same. Seeds are fixed and said.
TEST_CASE("van notes: the order of notes does not matter") {
  std::size_t lists_seen = 0;
  for (unsigned seed = 1; seed <= 300; ++seed) {
    CAPTURE(seed);
    std::mt19937 random{seed};
    std::vector<Note> notes;
    for (std::uint32_t id = 1; id <= 60; ++id) notes.push_back(drawn(random, id));
    const VanNotes once = van_notes_of(notes, "Linden");
    lists_seen += !once.treads.empty() + !once.pads.empty() + !once.jobs.empty() +
                  !once.fluids.empty() + !once.tyres_moved.empty() + !once.off_road.empty() +
                  !once.valuations.empty() + !once.sold.empty();
    std::ranges::shuffle(notes, random);
    const VanNotes shuffled = van_notes_of(notes, "Linden");
    CHECK(told(shuffled, true) == told(once, true));
    // Entered in another order, they have other numbers.
    for (std::uint32_t k = 0; k < notes.size(); ++k) notes[k].id = k + 1;
    CHECK(told(van_notes_of(notes, "Linden"), false) == told(once, false));
    CHECK(std::ranges::is_sorted(once.treads, {}, [](const TreadNote& n) { return n.when.from; }));
  }
  // The draws reach every list, nearly always.
  CHECK(lists_seen > 300 * 7);
}
