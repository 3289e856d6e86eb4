#include "money/session_cost.hpp"

#include <doctest/doctest.h>

#include "energy/session.hpp"
#include "unit/host/money/night_tariff.hpp"

using namespace packmile;
using namespace std::chrono;
using doctest::Approx;

namespace {

UtcTime local_at(const char* text) { return london().read_local(text).value(); }
std::string minute_text(UtcTime t) { return london().minute(t); }

// `kw` into the pack, seen from end to end.
ChargeSession session(UtcTime from, UtcTime to, double kw, ChargeKind kind = ChargeKind::ac) {
  ChargeSession s;
  s.start = from;
  s.end = to;
  s.kind = kind;
  s.curve = steady(kw, from, to);
  s.pack_kwh = MaybeFigure::known(figure_of(s.curve.back().kwh, 0, 0));
  s.grid_kwh = grid_energy_kwh(kind, *s.pack_kwh.figure,
                               duration<double, std::ratio<3600>>(to - from).count());
  s.filled_kwh = MaybeFigure::known({});
  s.coverage = 1;
  return s;
}

Trip trip(UtcTime from, double km) {
  Trip t;
  t.start = from;
  t.end = from + 1h;
  t.distance_km = MaybeFigure::known(figure_of(km, 0.04, 0));
  return t;
}

// Nights at the yard by the hour, the market post by receipts and distance.
MoneyFacts two_places() {
  MoneyFacts facts;
  facts.zone = london();
  facts.tariffs = {night_tariff(), flat_tariff("post", 0.69)};
  Place yard{"yard", PlaceKind::depot, "night", PlaceHours{18 * 60, 6 * 60, 0x7F}, {}, {}};
  Place post{"post", PlaceKind::public_post, "post", PlaceHours{9 * 60, 16 * 60, 0x1F}, {}, {}};
  facts.places = {yard, post};
  return facts;
}

SessionCost cost_of_one(const ChargeSession& s, const MoneyFacts& facts,
                        const VanNotes& notes = {}) {
  return price_charges(std::span{&s, 1}, {}, notes, facts, minute_text).sessions.front();
}

}  // namespace

TEST_CASE("a charge at the assumed depot costs its energy at the socket by the clock") {
  const ChargeSession s =
      session(local_at("2026-02-10T22:00:00"), local_at("2026-02-11T07:00:00"), 7);
  const SessionCost cost = cost_of_one(s, two_places());
  CHECK(cost.place == "yard");
  CHECK(cost.source == PlaceSource::assumed);
  // The pack took 63 kWh, five ninths of it at night; (63 + 0.2 * 9) / 0.925 were drawn.
  const double drawn = (63 + 1.8) / 0.925;
  CHECK(cost.cost.figure->value == Approx(drawn * (5 * 0.084 + 4 * 0.30) / 9));
  CHECK(cost.cost.figure->low == Approx(s.grid_kwh.figure->low * (5 * 0.084 + 4 * 0.30) / 9));
  CHECK(cost.cost.figure->high == Approx(s.grid_kwh.figure->high * (5 * 0.084 + 4 * 0.30) / 9));
}

// 24.0 kWh at the pack, 8.4 p, a charger of 0.88 (0.80 to 0.93): worked by hand,
// 24 / 0.88 * 8.4.
TEST_CASE("what the charger's loss leaves open is in the interval") {
  ChargeSession s = session(local_at("2026-02-10T01:00:00"), local_at("2026-02-10T05:00:00"), 6);
  s.grid_kwh = MaybeFigure::known({24.0 / 0.88, 24.0 / 0.93, 24.0 / 0.80, 0});
  const SessionCost cost = cost_of_one(s, two_places());
  CHECK(100 * cost.cost.figure->value == Approx(229.09).epsilon(1e-4));
  CHECK(100 * cost.cost.figure->low == Approx(216.77).epsilon(1e-4));
  CHECK(100 * cost.cost.figure->high == Approx(252.0).epsilon(1e-4));
}

TEST_CASE("a receipt is the cost, exactly, and tells the place") {
  const ChargeSession s =
      session(local_at("2026-02-10T12:00:00"), local_at("2026-02-10T13:00:00"), 20, ChargeKind::dc);
  VanNotes notes;
  notes.receipts = {{7,
                     {local_at("2026-02-10T13:05:00"), local_at("2026-02-10T13:05:00")},
                     20.4,
                     0.1,
                     14.07,
                     "Corn Exchange"}};
  const SessionCost cost = cost_of_one(s, two_places(), notes);
  CHECK(cost.place == "Corn Exchange");
  CHECK(cost.source == PlaceSource::noted);
  CHECK(cost.receipt == 7u);
  CHECK(cost.cost.figure->value == 14.07);
  CHECK(cost.cost.figure->low == 14.07);
  CHECK(cost.cost.figure->high == 14.07);
  CHECK(cost.grid_kwh.figure->value == Approx(20.4));
}

TEST_CASE("the depot's counter takes the place of the charger's usual loss") {
  const ChargeSession s =
      session(local_at("2026-02-10T01:00:00"), local_at("2026-02-10T05:00:00"), 6);
  VanNotes notes;
  notes.meter = {
      {3, {local_at("2026-02-10T06:00:00"), local_at("2026-02-10T06:00:00")}, 100, 127, 0.1}};
  const SessionCost cost = cost_of_one(s, two_places(), notes);
  CHECK(cost.place == "yard");
  CHECK(cost.source == PlaceSource::noted);
  CHECK(cost.grid_kwh.figure->value == Approx(27));
  CHECK(cost.cost.figure->value == Approx(27 * 0.084));
  CHECK(cost.cost.figure->high - cost.cost.figure->low < 0.06);
}

TEST_CASE("a charge that no rule fits costs something between the cheapest and the dearest") {
  // A Sunday noon.
  const ChargeSession s =
      session(local_at("2026-02-15T12:00:00"), local_at("2026-02-15T13:00:00"), 7);
  const SessionCost cost = cost_of_one(s, two_places());
  CHECK(cost.place.empty());
  CHECK(cost.source == PlaceSource::unknown);
  CHECK(cost.place_why.find("note its receipt") != std::string::npos);
  CHECK(cost.cost.figure->low == Approx(s.grid_kwh.figure->low * 0.30));
  CHECK(cost.cost.figure->high == Approx(s.grid_kwh.figure->high * 0.69));
  CHECK(cost.cost.figure->value == Approx(s.grid_kwh.figure->value * (0.30 + 0.69) / 2));
}

TEST_CASE("two rules that fit the same charge decide nothing") {
  MoneyFacts facts = two_places();
  facts.places[1].hours = PlaceHours{0, kDayMinutes, 0x7F};
  const SessionCost cost = cost_of_one(
      session(local_at("2026-02-10T22:00:00"), local_at("2026-02-10T23:00:00"), 7), facts);
  CHECK(cost.source == PlaceSource::unknown);
  CHECK(cost.place_why.find("'yard' and 'post'") != std::string::npos);
}

TEST_CASE("a place may be known by what was driven since the charge before") {
  MoneyFacts facts = two_places();
  facts.places[0].hours.reset();
  facts.places[0].driven_from_km = 60;
  facts.places[1].hours.reset();
  facts.places[1].driven_to_km = 60;
  const std::vector<ChargeSession> sessions{
      session(local_at("2026-02-09T20:00:00"), local_at("2026-02-09T23:00:00"), 7),
      session(local_at("2026-02-10T12:00:00"), local_at("2026-02-10T13:00:00"), 7),
      session(local_at("2026-02-10T20:00:00"), local_at("2026-02-10T23:00:00"), 7)};
  const std::vector<Trip> trips{trip(local_at("2026-02-10T08:00:00"), 40),
                                trip(local_at("2026-02-10T14:00:00"), 45),
                                trip(local_at("2026-02-10T16:00:00"), 30)};
  const auto priced = price_charges(sessions, trips, {}, facts, minute_text);
  // What was driven before the first one nobody knows.
  CHECK(priced.sessions[0].source == PlaceSource::unknown);
  CHECK(priced.sessions[1].place == "post");
  CHECK(priced.sessions[2].place == "yard");
}

TEST_CASE("a charge whose hour is not known costs what all hours give") {
  ChargeSession s = session(local_at("2026-02-10T22:00:00"), local_at("2026-02-10T23:00:00"), 7);
  s.start_doubt = s.end_doubt = {4 * 3'600'000, 6 * 3'600'000};
  MoneyFacts facts = two_places();
  facts.places.pop_back();
  facts.tariffs.pop_back();
  const SessionCost cost = cost_of_one(s, facts);
  CHECK(cost.cost.figure->low == Approx(s.grid_kwh.figure->low * 0.084));
  CHECK(cost.cost.figure->high == Approx(s.grid_kwh.figure->high * 0.30));
  // Nothing bounds it: every price there is.
  s.start_doubt = s.end_doubt = {std::nullopt, std::nullopt};
  CHECK(cost_of_one(s, facts).cost.figure->low == Approx(s.grid_kwh.figure->low * 0.084));
}

TEST_CASE("where neither AC nor DC is known the cost holds both") {
  ChargeSession s = session(local_at("2026-02-10T22:00:00"), local_at("2026-02-10T23:00:00"), 7);
  s.kind = ChargeKind::unknown;
  s.grid_kwh = grid_energy_kwh(s.kind, *s.pack_kwh.figure, 1);
  REQUIRE_FALSE(s.grid_kwh.figure);
  const Figure cost = *cost_of_one(s, two_places()).cost.figure;
  CHECK(cost.low <= grid_energy_kwh(ChargeKind::dc, *s.pack_kwh.figure, 1).figure->low * 0.30);
  CHECK(cost.high >= grid_energy_kwh(ChargeKind::ac, *s.pack_kwh.figure, 1).figure->high * 0.30);
}

TEST_CASE("without tariffs there is energy and no price") {
  MoneyFacts facts;
  facts.zone = london();
  const SessionCost cost = cost_of_one(
      session(local_at("2026-02-10T22:00:00"), local_at("2026-02-10T23:00:00"), 7), facts);
  CHECK_FALSE(cost.cost.figure);
  CHECK(cost.cost.why.find("[[tariff]]") != std::string::npos);
  CHECK(cost.grid_kwh.figure);
}

TEST_CASE("fees of the session and of its minutes") {
  MoneyFacts facts = two_places();
  facts.tariffs[1].lists[0].per_session = 0.35;
  facts.tariffs[1].lists[0].per_minute = 0.02;
  // A Tuesday noon: the post's hours.
  const ChargeSession s =
      session(local_at("2026-02-10T12:00:00"), local_at("2026-02-10T13:00:00"), 20, ChargeKind::dc);
  CHECK(cost_of_one(s, facts).cost.figure->value ==
        Approx(s.grid_kwh.figure->value * 0.69 + 0.35 + 60 * 0.02));
}
