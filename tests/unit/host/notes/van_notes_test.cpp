#include "notes/van_notes.hpp"

#include <doctest/doctest.h>

#include <chrono>

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
