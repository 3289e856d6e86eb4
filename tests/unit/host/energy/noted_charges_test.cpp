#include "energy/noted_charges.hpp"

#include <doctest/doctest.h>

#include <chrono>
#include <cmath>
#include <random>
#include <set>

#include "energy/session.hpp"
#include "energy/van_verdicts.hpp"

using namespace packmile;
using namespace std::chrono_literals;

namespace {

constexpr UtcTime kMonday{std::chrono::sys_days{std::chrono::year{2026} / 3 / 2}};

// A charge of so many hours that begins so many hours after Monday's midnight.
ChargeSession charge(double begins_h, double hours, double pack_kwh,
                     ChargeKind kind = ChargeKind::ac) {
  const auto ms = [](double h) {
    return std::chrono::milliseconds{static_cast<std::int64_t>(h * 3'600'000)};
  };
  ChargeSession session;
  session.start = kMonday + ms(begins_h);
  session.end = session.start + ms(hours);
  session.kind = kind;
  session.coverage = 1;
  session.pack_kwh = MaybeFigure::known(figure_of(pack_kwh, 0.01 * pack_kwh, 0.01 * pack_kwh));
  session.filled_kwh = MaybeFigure::known({});
  session.grid_kwh = grid_energy_kwh(kind, *session.pack_kwh.figure, hours);
  return session;
}

NoteTime day(int n) {
  const UtcTime from = kMonday + std::chrono::days{n};
  return {from, from + std::chrono::days{1}};
}
NoteTime at(double hours) {
  const UtcTime time =
      kMonday + std::chrono::milliseconds{static_cast<std::int64_t>(hours * 3'600'000)};
  return {time, time};
}
MeterNote meter(std::uint32_t id, NoteTime when, double kwh) {
  return {id, when, 1000, 1000 + kwh, 0.1};
}

std::string hours_text(UtcTime time) {
  const auto ms = (time - kMonday).count();
  return "h" + std::to_string(ms / 3'600'000);
}

std::vector<NotedCharge> match(const VanNotes& notes, const std::vector<ChargeSession>& sessions) {
  auto out = match_noted_charges(notes, sessions, hours_text);
  CHECK(out.size() == notes.meter.size() + notes.receipts.size());
  for (const NotedCharge& note : out) CHECK(note.session.has_value() == note.why.empty());
  return out;
}
NotedCharge match_one(const MeterNote& note, const std::vector<ChargeSession>& sessions) {
  VanNotes notes;
  notes.meter = {note};
  return match(notes, sessions).front();
}

}  // namespace

TEST_CASE("noted charges: the one charge of the day") {
  const std::vector<ChargeSession> sessions{charge(-30, 3, 18), charge(18, 3, 20),
                                            charge(66, 3, 19)};
  // 20 kWh into the pack are 22.3 at the socket: (20 + 0.2 * 3) / 0.925.
  const NotedCharge found = match_one(meter(4, day(0), 22.3), sessions);
  CHECK(found.session == 1);
  CHECK(found.note_id == 4);
  CHECK(found.kind == NoteKind::meter);
  CHECK(found.kwh == doctest::Approx(22.3));
  CHECK(found.step_kwh == 0.1);
  // Written down the day after.
  CHECK(match_one(meter(4, day(1), 22.3), sessions).session == 1);
  // A charge over midnight is both days'.
  const std::vector<ChargeSession> night{charge(22, 4, 20)};
  CHECK(match_one(meter(4, day(0), 22.5), night).session == 0);
  CHECK(match_one(meter(4, day(1), 22.5), night).session == 0);
}

TEST_CASE("noted charges: what lies in another time is no charge of the note") {
  const std::vector<ChargeSession> sessions{charge(8, 3, 20)};
  // It ended 13 hours before that day, and begins after that one.
  for (const int n : {1, 3, -1}) {
    CAPTURE(n);
    CHECK(match_one(meter(1, day(n), 22.3), sessions).why ==
          "no charge session lies in that day or ended in the 12 hours before it");
  }
  CHECK(match_one(meter(1, at(7), 22.3), sessions).why ==
        "no charge session runs at that time or ended in the 12 hours before it");
  CHECK(match_one(meter(1, at(23.1), 22.3), sessions).session.has_value() == false);
  CHECK(match_one(meter(1, at(22.9), 22.3), sessions).session == 0);
  // Half an hour for a clock that was read by eye.
  CHECK(match_one(meter(1, at(7.6), 22.3), sessions).session == 0);
  CHECK_FALSE(match_one(meter(1, at(7.4), 22.3), sessions).session.has_value());
  CHECK_FALSE(match_one(meter(1, day(0), 22.3), {}).session.has_value());
}

TEST_CASE("noted charges: kWh that do not fit") {
  const std::vector<ChargeSession> one{charge(18, 3, 20)};
  // The socket gave 21.6 to 23.0 kWh; a sensor may be off by a tenth.
  CHECK(match_one(meter(1, day(0), 22.3 * 1.1), one).session == 0);
  CHECK(match_one(meter(1, day(0), 22.3 * 0.9), one).session == 0);
  CHECK_FALSE(match_one(meter(1, day(0), 22.3 * 1.25), one).session.has_value());
  const NotedCharge low = match_one(meter(1, day(0), 22.3 * 0.75), one);
  CHECK(low.why.starts_with("no charge of that time fits 16.7"));
  CHECK(low.why.find("that of h18 took 21.") != std::string::npos);
  CHECK(low.why.find("together") == std::string::npos);
  CHECK(match_one(meter(1, day(0), 0), one).why == "the counter did not move");

  // A counter for the two of a day.
  const std::vector<ChargeSession> two{charge(11, 1, 5), charge(18, 3, 20)};
  const NotedCharge sum = match_one(meter(1, day(0), 28), two);
  CHECK(sum.why.find("together they fit it: a note for each charge would tell") !=
        std::string::npos);
  CHECK(match_one(meter(1, day(0), 22), two).session == 1);
  CHECK(match_one(meter(1, day(0), 5.6), two).session == 0);
}

TEST_CASE("noted charges: of several that fit none is taken, unless the time tells") {
  const std::vector<ChargeSession> sessions{charge(-6, 3, 20), charge(12, 3, 20.5),
                                            charge(18, 3, 19.5)};
  const NotedCharge which = match_one(meter(7, day(0), 22.3), sessions);
  CHECK(
      which.why ==
      "it may be the charge of h-6 or that of h12 or that of h18: enter it again with the time at "
      "which the charge ended and --replaces 7");
  CHECK(match_one(meter(7, at(15.1), 22.3), sessions).session == 1);
  CHECK(match_one(meter(7, at(21.25), 22.3), sessions).session == 2);
  // The time names a charge, and the kWh are another one's.
  CHECK(match_one(meter(7, at(15.1), 9), sessions).why.find("that of h12 took") !=
        std::string::npos);
  // In the morning after two that fit.
  CHECK(match_one(meter(7, at(26), 22.3), sessions).why.find("nothing in the note") !=
        std::string::npos);
}

TEST_CASE("noted charges: two notes that fit one charge say nothing of it") {
  VanNotes notes;
  notes.meter = {meter(3, day(0), 22.3), meter(5, day(2), 22.3)};
  notes.receipts = {{9, at(20), 22.0, 0.1, 9.5, "Corn Exchange"}};
  const std::vector<ChargeSession> sessions{charge(18, 3, 20), charge(66, 3, 20)};
  const auto found = match(notes, sessions);
  CHECK(found[0].why == "the charge of h18 fits the notes 3 and 9");
  CHECK(found[1].session == 1);
  CHECK(found[2].kind == NoteKind::receipt);
  CHECK(found[2].why == found[0].why);
}

TEST_CASE("noted charges: a charge that another note is about is out of question") {
  // Every night over midnight: each day has the end of one and the beginning of
  // another. Of days alone only kWh can tell, and then each tells the next.
  const std::vector<ChargeSession> nights{charge(21, 5, 30), charge(45, 5, 31), charge(69, 5, 30),
                                          charge(93, 5, 20), charge(117, 5, 21)};
  const auto socket = [&](std::size_t k) { return nights[k].grid_kwh.figure->value; };
  VanNotes notes;
  for (std::uint32_t k = 0; k < 3; ++k)
    notes.meter.push_back(meter(k + 1, day(static_cast<int>(k) + 1), socket(k)));
  for (const NotedCharge& note : match(notes, nights)) {
    CAPTURE(note.note_id);
    // The third fits the night before it alone: the one behind it is a third weaker.
    CHECK(note.session == note.note_id - 1);
  }
  // One note more than there are charges.
  notes.meter.push_back(meter(9, day(2), socket(0)));
  const auto four = match(notes, nights);
  CHECK_FALSE(four[0].session.has_value());
  CHECK(four[1].why == "the charge of h45 fits the notes 2 and 9");
  CHECK(four[2].session == 2);
  CHECK(four[3].why == four[1].why);
  notes.meter.pop_back();
  notes.meter.pop_back();
  for (const NotedCharge& note : match(notes, nights)) CHECK_FALSE(note.session.has_value());

  // Two notes that each fit one charge leave a third nothing, whichever comes first.
  notes.meter = {meter(1, at(26), socket(0)), meter(2, day(1), socket(0)),
                 meter(3, at(50), socket(1))};
  const auto found = match(notes, nights);
  CHECK(found[0].session == 0);
  CHECK(found[1].why == "every charge of that time that fits it is another note's");
  CHECK(found[2].session == 1);
}

// No source: whatever is drawn, a session is at most one note's.
TEST_CASE("noted charges: no charge goes to two notes") {
  std::mt19937 random{7};
  for (int round = 0; round < 300; ++round) {
    CAPTURE(round);
    const auto upto = [&](int n) { return static_cast<int>(random() % static_cast<unsigned>(n)); };
    std::vector<ChargeSession> sessions;
    double hour = 0;
    for (int n = upto(8); n > 0; --n) {
      hour += 1 + upto(20);
      sessions.push_back(charge(hour, 1 + upto(5), 10 + upto(6)));
      hour += 6;
      if (upto(6) == 0)
        sessions.back().pack_kwh = sessions.back().grid_kwh = MaybeFigure::unknown("no");
    }
    VanNotes notes;
    for (int n = upto(12); n > 0; --n) {
      const auto id = static_cast<std::uint32_t>(notes.meter.size() + 1);
      notes.meter.push_back(
          meter(id, upto(2) == 0 ? day(upto(6)) : at(upto(150)), upto(4) == 0 ? 0 : 10 + upto(8)));
    }
    std::set<std::size_t> taken;
    for (const NotedCharge& note : match(notes, sessions))
      if (note.session) CHECK(taken.insert(*note.session).second);
  }
}

// The measured charge: 5.447 kWh by the post, 5.348 into the pack, 1.82 % lost by hand.
TEST_CASE("noted charges: what a post gave and what did not arrive") {
  ChargeSession session = charge(12, 0.34, 5.348, ChargeKind::dc);
  session.pack_kwh = MaybeFigure::known(figure_of(5.348, 0.002, 0.0067 * 5.348));
  NotedCharge note;
  note.kind = NoteKind::receipt;
  note.kwh = 5.447;
  note.step_kwh = 0.001;
  const MaybeFigure lost = not_arrived_pct(note, session);
  REQUIRE(lost.figure);
  CHECK(lost.figure->value == doctest::Approx(1.8175).scale(0).epsilon(1e-3));
  CHECK(lost.figure->high - lost.figure->value ==
        doctest::Approx(1.96 * 0.67 * 0.982).scale(0).epsilon(0.01));
  CHECK(lost.figure->low < lost.figure->value);
  // A whole kWh on the receipt: as wide as that step.
  note.kwh = 5;
  note.step_kwh = 1;
  const Figure coarse = *not_arrived_pct(note, session).figure;
  CHECK(coarse.scatter == doctest::Approx(1.96 * 100 * 5.348 / 25 / std::sqrt(12.0)).epsilon(0.01));
  session.coverage = 0.9;
  CHECK_FALSE(not_arrived_pct(note, session).figure);
  CHECK_FALSE(not_arrived_pct(note, session).why.empty());
}

TEST_CASE("noted charges: charges of which less is known") {
  // Neither AC nor DC: 20 kWh in the pack are 19.9 to 23.5 at the socket.
  ChargeSession either = charge(18, 3, 20);
  either.kind = ChargeKind::unknown;
  either.grid_kwh = grid_energy_kwh(either.kind, *either.pack_kwh.figure, 3);
  for (const double kwh : {18.0, 20.0, 22.3, 25.0}) {
    CAPTURE(kwh);
    CHECK(match_one(meter(1, day(0), kwh), {either}).session == 0);
  }
  CHECK_FALSE(match_one(meter(1, day(0), 15), {either}).session.has_value());
  CHECK_FALSE(match_one(meter(1, day(0), 29), {either}).session.has_value());

  // Half of it unseen, and nothing to fill it with: up to twice as much.
  ChargeSession half = charge(18, 3, 10);
  half.coverage = 0.5;
  half.filled_kwh = MaybeFigure::unknown("no");
  CHECK(match_one(meter(1, day(0), 22.3), {half}).session == 0);

  // Nothing is known of its energy: no match, and no other charge beside it.
  ChargeSession silent = charge(18, 3, 20);
  silent.pack_kwh = silent.grid_kwh = silent.filled_kwh = MaybeFigure::unknown("too little seen");
  CHECK(match_one(meter(1, day(0), 22.3), {silent}).why ==
        "the energy of the charge of h18 is not known: too little seen");
  CHECK_FALSE(match_one(meter(1, day(0), 22.3), {charge(12, 3, 20), silent}).session.has_value());
  // One that was made from a note is no evidence of it.
  ChargeSession noted = charge(18, 3, 20);
  noted.source = SessionSource::noted;
  CHECK_FALSE(match_one(meter(1, day(0), 22.3), {noted}).session.has_value());

  // The van's clock may be two days off.
  ChargeSession unsure = charge(-40, 3, 20);
  CHECK_FALSE(match_one(meter(1, day(0), 22.3), {unsure}).session.has_value());
  unsure.start_doubt = unsure.end_doubt = {48 * 3'600'000, 48 * 3'600'000};
  CHECK(match_one(meter(1, day(0), 22.3), {unsure}).session == 0);
  CHECK_FALSE(match_one(meter(1, day(0), 22.3), {unsure, charge(18, 3, 20)}).session.has_value());
}

// No source: what a hundred days of charges at drawn hours must keep.
TEST_CASE("noted charges: a wrong charge is never taken where the right one is among them") {
  std::mt19937 random{20260302};
  std::uniform_real_distribution<double> hour{6, 20}, length{0.5, 3.9}, kwh{3, 45},
      gain{-0.04, 0.04};
  std::size_t matched = 0;
  std::vector<ChargeSession> sessions;
  VanNotes by_time;
  VanNotes by_day;
  for (int n = 0; n < 100; ++n) {
    const double hours = length(random);
    sessions.push_back(charge(24 * n + hour(random), hours, kwh(random)));
    const auto id = static_cast<std::uint32_t>(n + 1);
    const double at_socket = sessions.back().grid_kwh.figure->value * (1 + gain(random));
    const NoteTime end{sessions.back().end, sessions.back().end};
    by_time.meter.push_back({id, end, 0, at_socket, 0.1});
    by_day.meter.push_back({id, day(n), 0, at_socket, 0.1});
  }
  const auto timed = match(by_time, sessions);
  const auto dated = match(by_day, sessions);
  for (std::size_t n = 0; n < sessions.size(); ++n) {
    CAPTURE(n);
    CHECK(timed[n].session == n);
    if (!dated[n].session) continue;
    ++matched;
    CHECK(dated[n].session == n);
  }
  MESSAGE("seed 20260302: " << matched << " of 100 notes with a day alone were matched");
  CHECK(matched > 50);
}

TEST_CASE("noted charges: as evidence only what was measured nearly whole, with the last digit") {
  const std::vector<ChargeSession> sessions{charge(20, 4, 26)};
  const double kwh = sessions[0].grid_kwh.figure->value;
  VanNotes notes;
  notes.odometer = {{7, day(0), 1234, 1}};
  notes.meter = {meter(1, at(24), kwh)};
  const NotedEvidence found = noted_evidence_of(notes, sessions);
  REQUIRE(found.odometer.size() == 1);
  CHECK(found.odometer[0].to - found.odometer[0].from == 24h);
  REQUIRE(found.charges.size() == 1);
  CHECK(found.charges[0].words_kwh == doctest::Approx(26));
  CHECK(found.charges[0].u_words_kwh == doctest::Approx(0.26));
  CHECK(found.charges[0].meter_kwh == doctest::Approx(kwh));
  // Two readings of a counter of 0.1 kWh.
  CHECK(found.charges[0].u_meter_kwh == doctest::Approx(0.1 / std::sqrt(6)));
  CHECK(found.charges[0].kind == ChargeKind::ac);
  for (const auto spoil : {+[](ChargeSession& s) { s.coverage = 0.97; },
                           +[](ChargeSession& s) { s.source = SessionSource::inferred; }}) {
    std::vector<ChargeSession> spoiled = sessions;
    spoil(spoiled[0]);
    CHECK(noted_evidence_of(notes, spoiled).charges.empty());
  }
}
