#include "ledger/throughput.hpp"

#include <doctest/doctest.h>

using namespace packmile;
using namespace std::chrono;
using doctest::Approx;

namespace {

UtcTime on_day(unsigned d, int h = 0) { return sys_days{year{2026} / March / d} + hours{h}; }

Trip trip(UtcTime start, double km, double out_kwh, double in_kwh) {
  Trip t;
  t.start = start;
  t.end = start + hours{1};
  t.distance_km = MaybeFigure::known(figure_of(km, 0.05, 0.015 * km));
  t.discharge_kwh = MaybeFigure::known(figure_of(out_kwh, 0.01, 0.05));
  t.regen_kwh = MaybeFigure::known(figure_of(in_kwh, 0.01, 0.05));
  t.net_kwh = MaybeFigure::known(figure_of(out_kwh - in_kwh, 0.01, 0.05));
  t.discharge_ah = MaybeFigure::known(figure_of(out_kwh / 0.35, 0.03, 0.14));
  t.regen_ah = MaybeFigure::known(figure_of(in_kwh / 0.35, 0.03, 0.14));
  t.filled_kwh = MaybeFigure::known({});
  t.coverage = 1;
  return t;
}

ChargeSession session(UtcTime start, ChargeKind kind, double kwh) {
  ChargeSession s;
  s.start = start;
  s.end = start + hours{2};
  s.kind = kind;
  s.pack_kwh = MaybeFigure::known(figure_of(kwh, 0.01, 0.1));
  s.pack_ah = MaybeFigure::known(figure_of(kwh / 0.36, 0.03, 0.3));
  s.filled_kwh = MaybeFigure::known({});
  s.coverage = 1;
  s.band_hours[kind == ChargeKind::dc ? 5 : 2] = 2;
  return s;
}

Stand stand(UtcTime start, double kwh) {
  Stand s;
  s.start = start;
  s.end = start + hours{1};
  s.net_kwh = s.discharge_kwh = MaybeFigure::known(figure_of(kwh, 0.001, 0.01));
  s.charge_kwh = MaybeFigure::known({});
  s.discharge_ah = MaybeFigure::known(figure_of(kwh / 0.36, 0.003, 0.03));
  s.charge_ah = MaybeFigure::known({});
  s.filled_kwh = MaybeFigure::known({});
  s.coverage = 1;
  return s;
}

Zone utc_zone() { return Zone::find("UTC").value(); }

VanParts two_days() {
  VanParts parts;
  parts.facts.nominal_ah = 160;
  parts.trips = {trip(on_day(1, 8), 50, 12, 2), trip(on_day(2, 8), 30, 7, 1)};
  parts.sessions = {session(on_day(1, 20), ChargeKind::ac, 10),
                    session(on_day(2, 12), ChargeKind::dc, 30)};
  parts.stands = {stand(on_day(1, 10), 0.5)};
  parts.trace.odometer = {{on_day(1, 8), 40'000}, {on_day(1, 9), 40'050}, {on_day(2, 9), 40'080}};
  parts.trace.turns = {
      {on_day(1, 8), 100}, {on_day(1, 9), 80}, {on_day(1, 22), 100}, {on_day(2, 9), 80}};
  return parts;
}

}  // namespace

TEST_CASE("throughput: sums by hand") {
  const Throughput t = throughput_of(two_days(), {}, utc_zone());
  CHECK(t.discharge_kwh.figure->value == Approx(19.5));
  CHECK(t.charge_kwh.figure->value == Approx(43));
  CHECK(t.standing_kwh.figure->value == Approx(0.5));
  CHECK(t.kwh_per_mile.figure->value == Approx(16.0 / (80 / 1.609344)));
  CHECK(t.odometer_km.figure->value == Approx(40'080));
  CHECK(t.odometer_km.figure->high == Approx(40'080.1));
  CHECK(t.dc_share.figure->value == Approx(0.75));
  CHECK(t.charger_hours.figure->value == Approx(2));
  CHECK(*t.coverage == Approx(1));
  CHECK(*t.measured_from == on_day(1, 8));
  CHECK(*t.measured_to == on_day(2, 14));
  // Systematic parts are the same sensor's and add up: 0.05 + 0.05 + 0.01.
  CHECK(t.discharge_kwh.figure->high - 19.5 ==
        Approx(kZ95 * std::hypot(std::sqrt(0.01 * 0.01 * 2 + 1e-6), 0.11)));
}

// Source: arithmetic; 3,100 Ah out of a 150 Ah pack are 20.6667 full cycles.
TEST_CASE("throughput: full cycles") {
  VanParts parts;
  parts.facts.nominal_ah = 150;
  Trip one = trip(on_day(1), 100, 30, 0);
  one.discharge_ah = MaybeFigure::known(figure_of(3100, 0, 0));
  parts.trips = {one};
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.full_cycles.figure->value == Approx(20.6667).epsilon(1e-5));
  // The owner's nominal is good to 5 % (1 sd).
  CHECK(t.full_cycles.figure->high - t.full_cycles.figure->value ==
        Approx(20.6667 * 0.05 * kZ95).epsilon(1e-4));
  parts.facts.nominal_ah.reset();
  const Throughput without = throughput_of(parts, {}, utc_zone());
  CHECK_FALSE(without.full_cycles.figure.has_value());
  CHECK(without.full_cycles.why.find("nominal_ah") != std::string::npos);
}

TEST_CASE("throughput: a period takes what starts in it, its end is not in it") {
  const Throughput t = throughput_of(two_days(), {on_day(1), on_day(2)}, utc_zone());
  CHECK(t.discharge_kwh.figure->value == Approx(12.5));
  CHECK(t.charge_kwh.figure->value == Approx(12));
  CHECK(t.odometer_km.figure->value == Approx(40'050));
  CHECK(t.dc_share.figure->value == Approx(0));
  const Throughput border = throughput_of(two_days(), {on_day(1, 8), on_day(2, 8)}, utc_zone());
  CHECK(border.discharge_kwh.figure->value == Approx(12.5));
}

// By hand: the first day is sure, the second day's trip of 7 kWh and charge of 30 kWh
// may have been a day earlier.
TEST_CASE("throughput: what may belong to another period widens the interval, not the value") {
  VanParts parts = two_days();
  const Period first{on_day(1), on_day(2)};
  const Throughput sure = throughput_of(parts, first, utc_zone());
  CHECK(sure.unsure_rows == 0);
  constexpr std::int64_t kDayMs = 86'400'000;
  parts.trips[1].start_doubt = parts.trips[1].end_doubt = {kDayMs, 0};
  parts.sessions[1].start_doubt = parts.sessions[1].end_doubt = {kDayMs, kDayMs};
  const Throughput t = throughput_of(parts, first, utc_zone());
  CHECK(t.unsure_rows == 2);
  CHECK(t.discharge_kwh.figure->value == sure.discharge_kwh.figure->value);
  CHECK(t.discharge_kwh.figure->low == sure.discharge_kwh.figure->low);
  CHECK(t.discharge_kwh.figure->high > 19.5);
  CHECK(t.charge_kwh.figure->value == Approx(12));
  CHECK(t.charge_kwh.figure->high > 43);
  // All of the second charge was DC, and of none of it is sure.
  CHECK(t.dc_share.figure->value == Approx(0));
  CHECK(t.dc_share.figure->high > 0.74);
  // On the other day the value holds them, and low does not.
  const Throughput other = throughput_of(parts, {on_day(2), on_day(3)}, utc_zone());
  CHECK(other.unsure_rows == 2);
  CHECK(other.discharge_kwh.figure->value == Approx(7));
  CHECK(other.discharge_kwh.figure->low == 0);
  CHECK(other.discharge_kwh.figure->high ==
        throughput_of(two_days(), {on_day(2), on_day(3)}, utc_zone()).discharge_kwh.figure->high);
  // The months together are everything, each row in one of them.
  CHECK(t.discharge_kwh.figure->value + other.discharge_kwh.figure->value == Approx(19.5));
  // Without a border nothing is unsure; without a bound everything with one is.
  CHECK(throughput_of(parts, {}, utc_zone()).unsure_rows == 0);
  parts.trips[0].start_doubt = {std::nullopt, std::nullopt};
  CHECK(throughput_of(parts, {on_day(20), on_day(21)}, utc_zone()).unsure_rows == 1);
}

TEST_CASE("throughput: nothing in the period is unknown with a reason, never zero") {
  const Throughput t = throughput_of(two_days(), {on_day(20), on_day(21)}, utc_zone());
  for (const MaybeFigure* f : {&t.discharge_kwh, &t.charge_kwh, &t.discharge_ah, &t.full_cycles,
                               &t.odometer_km, &t.kwh_per_mile, &t.standing_kwh, &t.dc_share}) {
    CHECK_FALSE(f->figure.has_value());
    CHECK_FALSE(f->why.empty());
  }
  CHECK_FALSE(t.coverage.has_value());
  CHECK_FALSE(t.none_why.empty());
  CHECK_FALSE(t.swings.has_value());
}

TEST_CASE("throughput: what fills a gap is added, on its own side, Ah by the stretch's volts") {
  VanParts parts = two_days();
  parts.trips[0].filled_kwh = MaybeFigure::known(figure_of(1, 0.1, 0));
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.discharge_kwh.figure->value == Approx(20.5));
  CHECK(t.discharge_ah.figure->value ==
        Approx(throughput_of(two_days(), {}, utc_zone()).discharge_ah.figure->value + 1 / 0.35));
  CHECK(t.kwh_per_mile.figure->value == Approx(17.0 / (80 / 1.609344)));
  parts.trips[0].filled_kwh = MaybeFigure::known(figure_of(-1, 0.1, 0));
  CHECK(throughput_of(parts, {}, utc_zone()).charge_kwh.figure->value == Approx(44));
}

TEST_CASE("throughput: a trip without energy is left out and lowers the coverage") {
  VanParts parts = two_days();
  for (MaybeFigure* f :
       {&parts.trips[1].net_kwh, &parts.trips[1].discharge_kwh, &parts.trips[1].regen_kwh,
        &parts.trips[1].discharge_ah, &parts.trips[1].regen_ah})
    *f = MaybeFigure::unknown("contradictory");
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.discharge_kwh.figure->value == Approx(12.5));
  CHECK(*t.coverage == Approx(50.0 / 80));  // of the distance; 6 of 7 h of the time
  CHECK(t.kwh_per_mile.figure->value == Approx(10.0 / (50 / 1.609344)));
}

TEST_CASE("throughput: a distance in doubt goes into nothing by the mile") {
  VanParts parts = two_days();
  parts.trips[1].findings = {Finding::odometer_fell};
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.discharge_kwh.figure->value == Approx(19.5));
  CHECK(t.kwh_per_mile.figure->value == Approx(10.0 / (50 / 1.609344)));
  CHECK(t.before_logging_kwh.figure->value == Approx(40'000 * 12.0 / 50));
}

TEST_CASE("throughput: no energy anywhere is null with the reason of the trips") {
  VanParts parts;
  Trip t1 = trip(on_day(1), 20, 5, 1);
  for (MaybeFigure* f :
       {&t1.net_kwh, &t1.discharge_kwh, &t1.regen_kwh, &t1.discharge_ah, &t1.regen_ah})
    *f = MaybeFigure::unknown("the sign is not proven");
  parts.trips = {t1};
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK_FALSE(t.discharge_kwh.figure.has_value());
  CHECK(t.discharge_kwh.why == "the sign is not proven");
  CHECK(*t.coverage == Approx(1));  // the time was seen
}

TEST_CASE("throughput: before logging is apart, and wider the less is known") {
  const Throughput t = throughput_of(two_days(), {}, utc_zone());
  CHECK(t.before_logging_kwh.figure->value == Approx(40'000 * 19.0 / 80));
  CHECK(t.before_logging_kwh.figure->low == Approx(0.75 * 40'000 * 19.0 / 80));
  CHECK(t.before_logging_kwh.figure->high == Approx(1.25 * 40'000 * 19.0 / 80));
  // The period does not change what was before the first record.
  CHECK(throughput_of(two_days(), {on_day(2), {}}, utc_zone()).before_logging_kwh.figure->value ==
        Approx(40'000 * 19.0 / 80));
  // Twelve like months: never narrower than 10 %.
  VanParts year_parts;
  for (unsigned m = 1; m <= 12; ++m)
    year_parts.trips.push_back(trip(sys_days{year{2025} / month{m} / 5}, 100, 25, 5));
  year_parts.trace.odometer = {{sys_days{year{2025} / 1 / 5}, 10'000}};
  const auto y = throughput_of(year_parts, {}, utc_zone()).before_logging_kwh.figure;
  CHECK(y->value == Approx(2500));
  CHECK(y->low == Approx(2250));
}

TEST_CASE("throughput: an inferred charge has energy and no certain hours") {
  VanParts parts = two_days();
  ChargeSession night = session(on_day(3), ChargeKind::ac, 20);
  night.end = night.start + hours{10};
  night.source = SessionSource::inferred;
  night.coverage = 0;
  night.band_hours = {};
  parts.sessions.push_back(night);
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.charge_kwh.figure->value == Approx(63));
  CHECK(t.charger_hours.figure->value == Approx(2));
  CHECK(t.charger_hours.figure->high == Approx(12));
  CHECK(*t.coverage == Approx(1));  // a silence is no awake time
}

TEST_CASE("throughput: charges of unknown kind give no hours, rather than none") {
  VanParts parts;
  parts.sessions = {session(on_day(1), ChargeKind::unknown, 10)};
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK_FALSE(t.charger_hours.figure.has_value());
  CHECK_FALSE(t.dc_share.figure.has_value());
  parts.sessions.push_back(session(on_day(2), ChargeKind::ac, 30));
  const Throughput known = throughput_of(parts, {}, utc_zone());
  CHECK(known.charger_hours.figure->high == Approx(4));
  CHECK(known.dc_share.figure->high >= 0.25);
}

TEST_CASE("throughput: a silence in which the charge fell has energy and is no awake time") {
  VanParts parts = two_days();
  Stand silence = stand(on_day(5), 2);
  silence.end = silence.start + hours{48};
  silence.coverage = 0;
  parts.stands.push_back(silence);
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.discharge_kwh.figure->value == Approx(21.5));
  CHECK(*t.coverage == Approx(1));
  CHECK(*t.measured_to == on_day(2, 14));
}

// Source: ASTM E1049-85 by the energy room's own tests; here only that the turns
// of the period go in: 100-80-100-80 are three half ranges of 20.
TEST_CASE("throughput: swings of the period") {
  const Throughput t = throughput_of(two_days(), {}, utc_zone());
  REQUIRE(t.swings.has_value());
  double sum = 0;
  for (const SwingCount& swing : *t.swings) sum += 2 * swing.count * swing.depth_pct;
  CHECK(sum == Approx(60));
}

TEST_CASE("throughput: the row has a cell for each column") {
  const Row row = row_of(VanNames{"Linden", ""}, throughput_of(two_days(), {}, utc_zone()));
  CHECK(row.size() == throughput_columns().size());
  CHECK_FALSE(row[1].known());
}

TEST_CASE("throughput: what was lost in the period, also where its ends are not known") {
  VanParts parts = two_days();
  parts.lost = {{1, std::nullopt, on_day(0), 5, LostWhy::overwritten},
                {1, on_day(1), on_day(3), 6, LostWhy::overwritten},
                {1, on_day(5), std::nullopt, 7, LostWhy::damaged_or_missing}};
  const auto sectors = [&](const Period& period) {
    std::vector<std::uint64_t> out;
    for (const LostStretch& lost : throughput_of(parts, period, utc_zone()).lost)
      out.push_back(lost.sectors);
    return out;
  };
  using List = std::vector<std::uint64_t>;
  CHECK(sectors({}) == List{5, 6, 7});
  CHECK(sectors({on_day(2), on_day(4)}) == List{6});
  CHECK(sectors({on_day(3), on_day(4)}) == List{});
  CHECK(sectors({std::nullopt, on_day(1)}) == List{5});
  CHECK(sectors({on_day(6), std::nullopt}) == List{7});
}

// T5. Source: arithmetic; 3,100 Ah out and 3,050 in through 150 Ah.
TEST_CASE("throughput: the check of the full cycles takes what went in, too") {
  VanParts parts;
  parts.facts.nominal_ah = 150;
  Trip one = trip(on_day(1), 100, 30, 0);
  one.discharge_ah = MaybeFigure::known(figure_of(3100, 0, 90));
  one.regen_ah = MaybeFigure::known(figure_of(0, 0, 0));
  ChargeSession charge = session(on_day(1, 20), ChargeKind::ac, 10);
  charge.pack_ah = MaybeFigure::known(figure_of(3050, 0, 90));
  parts.trips = {one};
  parts.sessions = {charge};
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.full_cycles.figure->value == Approx(20.6667).epsilon(1e-5));
  CHECK(t.full_cycles_check.figure->value == Approx(20.5));
  // An offset that makes 90 Ah in each cancels; gain and nominal capacity stay.
  CHECK(t.full_cycles_check.figure->high - 20.5 ==
        Approx(kZ95 * 20.5 * std::hypot(0.006, 0.05)).epsilon(1e-6));
  parts.facts.nominal_ah.reset();
  CHECK_FALSE(throughput_of(parts, {}, utc_zone()).full_cycles_check.figure);
}

TEST_CASE("throughput: Ah out and in that do not fit the state of charge are told") {
  VanParts parts;
  parts.facts.nominal_ah = 150;
  const auto month = [&](double out_ah, double in_ah, double first_pct, double last_pct) {
    Trip one = trip(on_day(1), 2000, 900, 0);
    one.discharge_ah = MaybeFigure::known(figure_of(out_ah, 0, 0));
    one.regen_ah = MaybeFigure::known({});
    one.soc_start_pct = first_pct;
    ChargeSession charge = session(on_day(28), ChargeKind::ac, 900);
    charge.pack_ah = MaybeFigure::known(figure_of(in_ah, 0, 0));
    charge.soc_end_pct = last_pct;
    parts.trips = {one};
    parts.sessions = {charge};
    return throughput_of(parts, {}, utc_zone()).findings;
  };
  using List = std::vector<Finding>;
  const List told{Finding::ah_out_against_in};
  CHECK(month(2500, 2500, 90, 90) == List{});
  CHECK(month(2500, 2455, 90, 90) == List{});  // 0.9 %
  CHECK(month(2500, 2400, 90, 90) == told);    // 2 %
  CHECK(month(2500, 2425, 90, 40) == List{});  // 50 points are 75 Ah
  CHECK(month(2500, 2425, 40, 90) == told);    // the other way
  CHECK(month(25, 24, 90, 90) == List{});      // within the controller's error
}

TEST_CASE("throughput: below four fifths of the odometer's distance the sums are a part's") {
  VanParts parts = two_days();
  CHECK(throughput_of(parts, {}, utc_zone()).findings.empty());
  parts.trace.odometer.back().odometer_km = 40'000 + 80 / 0.79;
  CHECK(throughput_of(parts, {}, utc_zone()).findings ==
        std::vector{Finding::distance_partly_seen});
}

TEST_CASE("throughput: a charge whose energy is not known is said to be missing in the sums") {
  VanParts parts = two_days();
  parts.sessions.push_back(session(on_day(2), ChargeKind::ac, 9));
  CHECK(throughput_of(parts, {}, utc_zone()).findings.empty());
  parts.sessions.back().pack_kwh = MaybeFigure::unknown("the sign is contradictory");
  CHECK(throughput_of(parts, {}, utc_zone()).findings == std::vector{Finding::energy_partly_known});
  // Where nothing at all is known the sums say so themselves.
  for (Trip& trip : parts.trips)
    trip.net_kwh = trip.discharge_kwh = trip.regen_kwh = MaybeFigure::unknown("none");
  for (ChargeSession& charge : parts.sessions) charge.pack_kwh = MaybeFigure::unknown("none");
  for (Stand& stand : parts.stands)
    stand.net_kwh = stand.discharge_kwh = stand.charge_kwh = MaybeFigure::unknown("none");
  for (Trip& trip : parts.trips) trip.filled_kwh = MaybeFigure::known({});
  const Throughput none = throughput_of(parts, {}, utc_zone());
  CHECK(std::ranges::find(none.findings, Finding::energy_partly_known) == none.findings.end());
}

TEST_CASE("throughput: energy that only the state of charge tells becomes Ah by the mean voltage") {
  VanParts parts = two_days();
  const Throughput without = throughput_of(parts, {}, utc_zone());
  const double kv = (without.discharge_kwh.figure->value + without.charge_kwh.figure->value) /
                    (without.discharge_ah.figure->value + without.charge_ah.figure->value);
  ChargeSession unseen = session(on_day(3), ChargeKind::unknown, 20);
  unseen.source = SessionSource::inferred;
  unseen.pack_ah = MaybeFigure::unknown("nothing was heard of the van while it charged");
  parts.sessions.push_back(unseen);
  const Throughput t = throughput_of(parts, {}, utc_zone());
  CHECK(t.charge_kwh.figure->value == Approx(63));
  CHECK(t.charge_ah.figure->value == Approx(without.charge_ah.figure->value + 20 / kv));
  CHECK(t.discharge_ah.figure->value == Approx(without.discharge_ah.figure->value));
  // Nothing but the nominal voltage to go by.
  VanParts alone;
  alone.sessions = {unseen};
  CHECK_FALSE(throughput_of(alone, {}, utc_zone()).charge_ah.figure);
  CHECK(throughput_of(alone, {}, utc_zone()).charge_ah.why ==
        "nothing was heard of the van while it charged");
  alone.facts.nominal_ah = 160;
  alone.facts.nominal_kwh = 60;
  CHECK(throughput_of(alone, {}, utc_zone()).charge_ah.figure->value == Approx(20 * 160.0 / 60));
}

TEST_CASE("throughput: hours of charging by kind and power, the gap of a charge in doubt") {
  VanParts parts = two_days();
  parts.sessions[0].coverage = 0.75;
  parts.sessions[0].band_hours[2] = 1.25;
  parts.sessions[0].band_hours[0] = 0.25;
  parts.sessions.push_back(session(on_day(2, 20), ChargeKind::dc, 5));
  parts.sessions.back().band_hours[7] = 0.5;
  const Throughput t = throughput_of(parts, {}, utc_zone());
  REQUIRE(t.charge_power.has_value());
  const auto& bands = *t.charge_power;
  REQUIRE(bands.size() == 4);
  CHECK(bands[0].kind == "ac");
  CHECK(bands[0].from_kw == 0.6);
  CHECK(*bands[0].to_kw == 2);
  CHECK(bands[0].hours == Approx(0.25));
  CHECK(bands[1].hours == Approx(1.25));
  CHECK(bands[2].kind == "dc");
  CHECK(bands[2].hours == Approx(4));
  CHECK(bands[3].from_kw == 100);
  CHECK_FALSE(bands[3].to_kw.has_value());
  CHECK(t.charger_hours.figure->low == Approx(1.5));
  CHECK(t.charger_hours.figure->value == Approx(1.75));
  CHECK(t.charger_hours.figure->high == Approx(2));
  const Throughput none = throughput_of(two_days(), {on_day(20), on_day(21)}, utc_zone());
  CHECK_FALSE(none.charge_power.has_value());
  CHECK_FALSE(none.charge_power_why.empty());
}

TEST_CASE(
    "throughput: of a van that was never heard nothing is known, least of all 0, and how to find "
    "out") {
  const Throughput out = throughput_of(VanParts{}, {}, utc_zone());
  for (const MaybeFigure* figure :
       {&out.discharge_kwh, &out.charge_kwh, &out.full_cycles, &out.odometer_km, &out.kwh_per_mile,
        &out.standing_kwh, &out.before_logging_kwh, &out.dc_share, &out.charger_hours,
        &out.hours_soc_high}) {
    CHECK_FALSE(figure->figure);
    CHECK(figure->why.find("packmile check CARD") != std::string::npos);
  }
  CHECK_FALSE(out.swings);
  CHECK(out.swings_why == out.none_why);
}

TEST_CASE("throughput: full cycles before logging are assumed, and apart") {
  const Throughput t = throughput_of(two_days(), {}, utc_zone());
  const double ah = 40'000 * (19.0 / 0.35) / 80;
  CHECK(t.before_logging_full_cycles.figure->value == Approx(ah / 160));
  CHECK(t.before_logging_full_cycles.figure->low < 0.75 * ah / 160);
  CHECK(t.full_cycles.figure->value == Approx(t.discharge_ah.figure->value / 160));
}
